"""
What the browser's build works out beforehand, so that no start of a phone does it again.

Three kinds of things cost a start more than all its own code: the methods that dataclasses write as text and
have compiled, regular expressions, and data files to be parsed. The build imports the engine once, `recorded`
keeps what came of it, and a phone that has called `use` takes it from there. What was not kept is worked out
as ever, so that nothing but time depends on it. Methods and patterns are reached through private parts of
Python, in the versions of `HOLDS_FOR` only and where the same version kept them; elsewhere the data files are
all that is kept and taken.
"""

from __future__ import annotations

import builtins
import dataclasses
import marshal
import re
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from humclick import sourced

#: Name of the file that holds it, beside this one; only in the browser.
FILE = "prepared.bin"

#: Versions of Python whose private parts are as they are taken to be here: the tests', and the browser's.
HOLDS_FOR = ((3, 11), (3, 14))

_compiler: Any = vars(re).get("_compiler")


def _holds() -> bool:
    return sys.version_info[:2] in HOLDS_FOR and sys.implementation.name == "cpython"


def recorded(files: Iterable[tuple[str, str, str]]) -> Callable[[], bytes]:
    """Keep what is worked out from here on, until the function that comes back is called for it."""
    if not _holds():
        return lambda: marshal.dumps((_tables(files), (), b""))
    codes: dict[str, Any] = {}
    patterns: dict[tuple[str | bytes, int], tuple[Any, ...]] = {}
    compiled, engine = _compiler.compile, vars(_compiler)["_sre"]

    def executed(text: str, known: dict[str, Any], into: dict[str, Any]) -> None:
        codes[text] = compile(text, "<string>", "exec", dont_inherit=True)
        builtins.exec(codes[text], known, into)

    def pattern(text: Any, flags: int = 0) -> Any:
        def kept(of: Any, how: int, code: list[int], *groups: Any) -> Any:
            parts = (of, int(how), [int(step) for step in code], *groups)
            if isinstance(text, str | bytes):
                patterns[text, int(flags)] = parts
            return engine.compile(*parts)

        vars(_compiler)["_sre"] = SimpleNamespace(**{**vars(engine), "compile": kept})
        try:
            return compiled(text, flags)
        finally:
            vars(_compiler)["_sre"] = engine

    vars(dataclasses)["exec"], _compiler.compile = executed, pattern
    re.purge()

    def end() -> bytes:
        tables = _tables(files)  # before the end: patterns of the reader of TOML are kept too
        del vars(dataclasses)["exec"]
        _compiler.compile = compiled
        return marshal.dumps((tables, tuple(sys.version_info[:3]), marshal.dumps((codes, patterns))))

    return end


def _tables(files: Iterable[tuple[str, str, str]]) -> dict[tuple[str, str], bytes]:
    import tomllib

    return {(package, name): marshal.dumps(tomllib.loads(text)) for package, name, text in files}


def use(data: bytes | None = None) -> None:
    """Take from here on what was recorded, by default what the build left beside this file."""
    tables, version, worked_out = marshal.loads(data or Path(__file__).with_name(FILE).read_bytes())
    sourced.PREPARED.update(tables)
    if version != tuple(sys.version_info[:3]) or not _holds():
        return
    codes, patterns = marshal.loads(worked_out)
    compiled, engine = _compiler.compile, vars(_compiler)["_sre"]

    def executed(text: str, known: dict[str, Any], into: dict[str, Any]) -> None:
        builtins.exec(codes.get(text, text), known, into)

    def pattern(text: Any, flags: int = 0) -> Any:
        parts = patterns.get((text, int(flags))) if isinstance(text, str | bytes) else None
        return compiled(text, flags) if parts is None else engine.compile(*parts)

    vars(dataclasses)["exec"], _compiler.compile = executed, pattern
