"""
Where part families and arrangements lie: in this package, and in further folders given by a path.

A further folder, a *shelf*, is laid out as this package is: ``parts/<family>/<family>.toml``,
``arrangements/<name>.toml`` and, for a new kind of machine, ``frames/<name>.toml``. ``HUMCLICK_SHELVES``
names some for good, `shelf` one for a while. A family may bring a small module, which is run: use only a
shelf whose every file you would run yourself.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from types import ModuleType
from typing import Any

from humclick.errors import DataError
from humclick.sourced import read_data

__all__ = [
    "Source",
    "arrangement_sources",
    "family_sources",
    "frame_sources",
    "shelf",
    "shelves",
    "starts_table",
]


class Source:
    """
    One data file, of this package or of a shelf.

    `folder` is a shelf's, in place of the package.
    """

    def __init__(self, package: str, name: str, folder: Path | None = None) -> None:
        self.package = package
        self.name = name
        self.folder = folder

    def __str__(self) -> str:
        """Where it is, for a message."""
        inside = self.package.removeprefix("humclick.").replace(".", "/")
        return str(self.folder / self.name) if self.folder else f"{inside}/{self.name}"

    def table(self) -> dict[str, Any]:
        """
        Read its TOML.

        Raises `DataError` if it is missing or is not TOML.
        """
        if self.folder is None:
            return read_data(self.package, self.name)
        import tomllib

        try:
            return tomllib.loads((self.folder / self.name).read_text("utf-8"))
        except (OSError, ValueError) as error:
            raise DataError(f"{self}: cannot be read: {error}") from error

    def _beside(self, name: str) -> Traversable:
        root, *folders = self.package.split(".")
        return self.folder / name if self.folder else resources.files(root).joinpath(*folders, name)

    def module(self, name: str) -> ModuleType:
        """
        Import a module that lies beside it.

        Raises `DataError` if there is none, or it does not run.
        """
        full_name = f"{self.package or f'humclick_shelf.{Path(self.name).stem}'}.{name}"
        try:
            if self.folder is None and importlib.util.find_spec(self.package) is not None:
                return importlib.import_module(full_name)
            text = self._beside(f"{name}.py").read_text("utf-8")
            module = sys.modules[full_name] = ModuleType(
                full_name
            )  # dataclasses in it look their own module up
            exec(compile(text, str(self._beside(f"{name}.py")), "exec"), module.__dict__)
            return module
        except Exception as error:
            raise DataError(f"{self}: its module {name}.py cannot be used: {error!r}") from error


_folders = tuple(Path(name) for name in os.environ.get("HUMCLICK_SHELVES", "").split(os.pathsep) if name)


def shelves() -> tuple[Path, ...]:
    """Further folders in use."""
    return _folders


@contextmanager
def shelf(path: Path) -> Iterator[None]:
    """
    Use a further folder for a while.

    It holds ``parts``, ``arrangements``, ``frames``, or several of them. Raises `DataError` if it holds none
    of them, or a name in it is one of this package.
    """
    global _folders
    before = _folders
    if not any((path / name).is_dir() for name in ("parts", "arrangements", "frames")):
        raise DataError(f"{path}: a shelf holds a folder parts, a folder arrangements, or both")
    _folders = (*before, path)
    try:
        family_sources()
        arrangement_sources()
        frame_sources()
        yield
    finally:
        _folders = before


def family_sources() -> Mapping[str, Source]:
    """
    Part families by name: every folder with a TOML file of its own name in it.

    Raises `DataError` if two have one name, or a folder has no such file.
    """
    return _families(_folders)


def arrangement_sources() -> Mapping[str, Source]:
    """
    Arrangements by name: every TOML file.

    Raises `DataError` if two have one name.
    """
    return _arrangements(_folders)


def frame_sources() -> Mapping[str, Source]:
    """
    Kinds of machine by name: every TOML file of what they have around their gear.

    Raises `DataError` if two have one name.
    """
    return _frames(_folders)


def starts_table(name: str) -> Traversable | None:
    """
    The table of simulated start attempts of an arrangement, None where there is none.

    That of this package lies in ``start/power_up``, that of a shelf in its own ``power_up``.
    """
    folder = arrangement_sources()[name].folder
    root: Traversable = folder.parent if folder else resources.files("humclick.start")
    table = root.joinpath("power_up").joinpath(f"{name}.csv")
    return table if table.is_file() else None


@cache
def _families(folders: tuple[Path, ...]) -> Mapping[str, Source]:
    sources = {
        entry.name: Source(f"humclick.parts.{entry.name}", f"{entry.name}.toml")
        for entry in resources.files("humclick.parts").iterdir()
        if entry.is_dir() and entry.joinpath(f"{entry.name}.toml").is_file()
    }
    for folder in folders:
        for entry in sorted((folder / "parts").glob("*/")):
            if not (entry / f"{entry.name}.toml").is_file():
                raise DataError(
                    f"{entry}: the folder of a part family holds {entry.name}.toml; there is none"
                )
            _add(sources, entry.name, Source("", f"{entry.name}.toml", entry))
    return dict(sorted(sources.items()))


@cache
def _arrangements(folders: tuple[Path, ...]) -> Mapping[str, Source]:
    return _files("humclick.arrangements", "arrangements", folders)


@cache
def _frames(folders: tuple[Path, ...]) -> Mapping[str, Source]:
    return _files("humclick.arrangements.frames", "frames", folders)


def _files(package: str, own: str, folders: tuple[Path, ...]) -> Mapping[str, Source]:
    """Every TOML file of a folder of this package, and of such a folder on each shelf."""
    root, *inside = package.split(".")  # a folder without a module is no package in a zip
    sources = {
        entry.name.removesuffix(".toml"): Source(package, entry.name)
        for entry in resources.files(root).joinpath(*inside).iterdir()
        if entry.name.endswith(".toml")
    }
    for folder in folders:
        for entry in sorted((folder / own).glob("*.toml")):
            _add(sources, entry.stem, Source("", entry.name, folder / own))
    return dict(sorted(sources.items()))


def _add(sources: dict[str, Source], name: str, source: Source) -> None:
    if name in sources:
        raise DataError(f"{source}: there is one called {name!r} already, {sources[name]}; use another name")
    sources[name] = source
