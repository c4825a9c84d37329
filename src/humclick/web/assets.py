"""
Files the pages are made of, each under an address that changes whenever its content does.

The table is made once, at the start: nothing is looked up on the disk by a name that a visitor gives, media
types are our own, and what stands under an address never changes, so a browser keeps it for good. Where
there is no runtime (it was not built), the pages work against the server only. Sizes in bytes.
"""

from __future__ import annotations

import gzip
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

#: Media types by suffix; the operating system's table may say otherwise.
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".mjs": "text/javascript; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".wasm": "application/wasm",
    ".webmanifest": "application/manifest+json",
    ".zip": "application/zip",
}
#: How a compressed file's name ends.
_ENDINGS = {"br": ".br", "gzip": ".gz"}


@dataclass(frozen=True, slots=True)
class Asset:
    """One file."""

    media_type: str
    #: What it holds, or where it is, compressed as ``.gz``.
    plain: Path | bytes
    #: The same, compressed, by encoding.
    packed: Mapping[str, Path | bytes] = field(default_factory=dict)

    def encoded(self, accepted: str) -> tuple[str, bytes]:
        """The shortest form a browser accepts by its ``Accept-Encoding``, with the encoding's name."""
        taken = {part.partition(";")[0].strip() for part in accepted.split(",") if "q=0" not in part}
        for name in ("br", "gzip"):
            if name in taken and name in self.packed:
                return name, _bytes(self.packed[name])
        return "", self.plain if isinstance(self.plain, bytes) else gzip.decompress(_bytes(self.plain))


@dataclass(frozen=True, slots=True)
class Assets:
    """All files."""

    #: What is served for good, by address.
    files: Mapping[str, Asset]
    #: Address under which our own scripts, styles and pictures lie.
    base: str
    version: str
    #: Its text; served at a fixed address and never kept.
    service_worker: str
    #: Whether the runtime is here, so that a browser can work without the server.
    offline: bool


def assets(
    static: Path,
    built: Path,
    pages: Mapping[str, str] | None = None,
    made: Mapping[str, str] | None = None,
) -> Assets:
    """
    The table of files: our own, and those of the build (`humclick.web.offline.build`), if there are any.

    ``pages`` are kept by a browser beside the files, each with a mark that changes when it does; ``made``
    holds further files among our own.
    """
    ours: dict[str, bytes] = {}
    for path in sorted(static.rglob("*")):
        if path.is_file() and path.suffix in TYPES:
            ours[path.relative_to(static).as_posix()] = path.read_bytes()
    ours |= {name: content.encode() for name, content in (made or {}).items()}
    places: dict[str, str | bool] = {"offline": False}
    files: dict[str, Asset] = {}
    for folder, version in _versions(built).items():
        base = f"/offline/{folder}-{version}/"
        places |= {folder: base, "offline": True}
        for path in sorted((built / folder).glob("*.gz")):
            packed: dict[str, Path | bytes] = {way: path.with_suffix(end) for way, end in _ENDINGS.items()}
            files[base + path.stem] = Asset(TYPES[Path(path.stem).suffix], path, packed)
    known = dict(pages or {})
    whole = json.dumps([[name, hashlib.sha256(data).hexdigest()] for name, data in ours.items()])
    version = hashlib.sha256(f"{whole}{places}{sorted(known.items())}".encode()).hexdigest()[:16]
    base = f"/static/{version}"
    places["version"] = version
    worker = ours.pop("sw.js", b"").decode()
    ours["places.js"] = f"export default {json.dumps(places)};\n".encode()
    for name, data in ours.items():
        files[f"{base}/{name}"] = Asset(TYPES[Path(name).suffix], data, _packed(data))
    addresses = [*known, *files] if places["offline"] else []
    worker = worker.replace('"@VERSION@"', json.dumps(version)).replace('"@FILES@"', json.dumps(addresses))
    return Assets(files, base, version, worker, bool(places["offline"]))


def _bytes(content: Path | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.read_bytes()


def _packed(data: bytes) -> dict[str, Path | bytes]:
    return {"gzip": gzip.compress(data, 9, mtime=0)} if len(data) > 500 else {}


def _versions(built: Path) -> dict[str, str]:
    """Versions of the build's folders; empty where it is not whole."""
    try:
        listing = json.loads((built / "built.json").read_text("utf-8"))
        versions = {name: str(listing[name]) for name in ("runtime", "engine")}
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return versions if all((built / name).is_dir() for name in versions) else {}
