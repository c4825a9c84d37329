"""The server's own socket."""

from __future__ import annotations

import socket

import pytest

from humclick.cli.serve import _listening
from humclick.web.connections import Book


@pytest.mark.parametrize("host", ["127.0.0.1", "::1"])
def test_no_answer_waits_for_more_to_send(host: str) -> None:
    """The socket is named TCP, which is what makes each answer go out at once and not 40 ms later."""
    try:
        listening = _listening(host, 0, Book())
    except OSError as error:
        pytest.skip(f"no such network here: {error}")
    with listening:
        assert listening.proto == socket.IPPROTO_TCP
