"""``humclick serve``: the pages and the JSON interface, for this machine or for the shop's network."""

from __future__ import annotations

import contextlib
import socket
import threading
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import click

from humclick.cli.language import say
from humclick.errors import Refused
from humclick.limits import CONNECTIONS, HEAD_BYTES, IDLE_SECONDS
from humclick.messages import Message, Verbatim

if TYPE_CHECKING:
    from humclick.web.certificate import Certificates
    from humclick.web.connections import Book

_EVERYWHERE = ("0.0.0.0", "::", "")


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at; 0.0.0.0 for all.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535), help="0 for any.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path.home() / "humclick-calls",
    show_default="humclick-calls in the home folder",
    help="Where calls and photos are kept.",
)
@click.option(
    "--certificate", is_flag=True, help="Serve https, with a certificate of the shop's own authority."
)
@click.option("--name", "names", multiple=True, help="A further name under which the server is asked.")
@click.option("--empty", is_flag=True, help="Begin a new folder without the invented calls.")
def serve(host: str, port: int, folder: Path, certificate: bool, names: tuple[str, ...], empty: bool) -> None:
    """
    Serve the pages to a browser.

    On a phone they go on working without a network after the first visit, where they come over https or
    from the device itself. A new folder begins with the calls of an invented shop.

    Example: humclick serve --host 0.0.0.0 --certificate
    """
    uvicorn = _server()
    from humclick.web.app import create_app
    from humclick.web.certificate import certificates
    from humclick.web.connections import Book, descriptors, protocol, short_logs
    from humclick.web.guard import own_names
    from humclick.web.office import fill, standard_office
    from humclick.web.store import Store, examples_folder

    store = Store.at(folder, None if empty else examples_folder())
    office = standard_office(store)
    made = None
    if certificate:
        known = {*own_names(), *names, "127.0.0.1", "::1", *_addresses()}
        known |= {host} - set(_EVERYWHERE)
        made = certificates(folder / "certificates", known)
    app = create_app(office, names=names, authority=made.authority if made else None)
    files = descriptors()
    book = Book(min(CONNECTIONS, max(files - 128, files // 2)))
    listening = _listening(host, port, book)
    scheme = "https" if made else "http"
    for name in _shown(host):
        click.echo(f"Hum & Click: {scheme}://{name}:{listening.getsockname()[1]}")
    click.echo("\n".join(map(say, _opened(folder, made, app.state.offline))))
    config = uvicorn.Config(
        app,
        http=protocol(book),
        loop="asyncio",  # it asks our socket for each connection
        ws="none",
        backlog=max(8, min(128, files // 16)),
        timeout_keep_alive=IDLE_SECONDS,
        h11_max_incomplete_event_size=HEAD_BYTES,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
        ssl_certfile=made.certificate if made else None,
        ssl_keyfile=made.key if made else None,
    )
    short_logs()
    threading.Thread(target=fill, args=(office,), daemon=True).start()
    with contextlib.suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[listening])


def _server() -> ModuleType:
    """The library that serves, where it and what the pages need are installed."""
    try:
        import uvicorn

        import humclick.web.app
        import humclick.web.certificate  # noqa: F401
    except ImportError as error:
        raise Refused(
            Message(
                "the pages need more packages: pip install 'humclick[web]' ({error})",
                error=Verbatim(error),
            )
        ) from None
    return uvicorn


def _opened(folder: Path, made: Certificates | None, offline: bool) -> list[Message]:
    """What is said once the server listens."""
    lines = [Message("Calls are kept in {folder}. Ctrl-C ends.", folder=Verbatim(folder))]
    if made:
        lines += [
            Message("Put on each phone: {file}", file=Verbatim(made.authority)),
            Message("and compare its SHA-256 there: {hash}", hash=Verbatim(made.fingerprint)),
        ]
    if not offline:
        lines.append(
            Message("The part that works without a network was not built; every page comes from here.")
        )
    return lines


def _listening(host: str, port: int, book: Book) -> socket.socket:
    """A socket bound there, so that what is printed is true; it lets in whom the book has room for."""
    from humclick.web.connections import Door

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # named TCP, or what is accepted would hold the end of each answer back for 40 ms, to send more with it
    made = Door(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    made.book = book
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
        made.listen(128)
    except OSError as error:
        made.close()
        raise Refused(
            Message(
                "cannot listen at {host}, port {port}: {why}; try --port 0",
                host=Verbatim(host),
                port=port,
                why=Verbatim(error.strerror or error),
            )
        ) from None
    made.set_inheritable(True)
    return made


def _addresses() -> list[str]:
    """Addresses of the machine on its network, as far as it can tell."""
    names: set[str] = set()
    with contextlib.suppress(OSError):
        names |= {str(name[4][0]) for name in socket.getaddrinfo(socket.gethostname(), None)}
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # nothing is sent: the system only says which way it would go
        names.add(str(probe.getsockname()[0]))
    return sorted(name for name in names if "%" not in name)


def _shown(host: str) -> list[str]:
    if host in _EVERYWHERE:
        return [
            "localhost",
            *(f"[{name}]" if ":" in name else name for name in _addresses() if name != "127.0.0.1"),
        ]
    return [f"[{host}]" if ":" in host else host]
