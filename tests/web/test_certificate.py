"""A shop's own authority: a browser that trusts it reaches the server, and trusts it for nothing else."""

from __future__ import annotations

import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from humclick.errors import Refused
from humclick.web.certificate import RENEWED_DAYS, SERVER_DAYS, certificates, fingerprint

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NAMES = ("localhost", "shop.local", "127.0.0.1", "192.168.1.7")


def trusted(authority: Path, certificate: Path, name: str) -> bool:
    """Whether who trusts the authority accepts the certificate for a name, by an independent verifier."""
    store = Store([x509.load_pem_x509_certificate(authority.read_bytes())])
    verifier = PolicyBuilder().store(store).time(NOW).build_server_verifier(x509.DNSName(name))
    try:
        verifier.verify(x509.load_pem_x509_certificate(certificate.read_bytes()), [])
    except VerificationError:
        return False
    return True


def test_a_browser_that_trusts_the_authority_speaks_to_the_server(tmp_path: Path) -> None:
    """A TLS handshake with full checking succeeds by name and by address, and fails for another name."""
    made = certificates(tmp_path, NAMES)
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(made.certificate, made.key)
    listening = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        for _ in range(3):
            taken, _address = listening.accept()
            try:
                with serving.wrap_socket(taken, server_side=True) as spoken:
                    spoken.sendall(b"hum")
            except (ssl.SSLError, OSError):
                taken.close()

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    asking = ssl.create_default_context(cafile=made.authority)
    for name, right in (("localhost", True), ("127.0.0.1", True), ("elsewhere.example", False)):
        with socket.create_connection(listening.getsockname()) as plain:
            if right:
                with asking.wrap_socket(plain, server_hostname=name) as spoken:
                    assert spoken.recv(3) == b"hum"
            else:
                with pytest.raises(ssl.SSLCertVerificationError):
                    asking.wrap_socket(plain, server_hostname=name)
    thread.join(5)
    listening.close()


def test_an_independent_verifier_accepts_it_for_its_names_only(tmp_path: Path) -> None:
    """The certificate is good for the names it was made for."""
    made = certificates(tmp_path, NAMES, NOW)
    assert trusted(made.authority, made.certificate, "shop.local")
    assert not trusted(made.authority, made.certificate, "bank.example")


def test_the_authority_may_vouch_for_this_network_only(tmp_path: Path) -> None:
    """Name constraints hold the authority to private addresses, .local and its own names."""
    made = certificates(tmp_path, NAMES, NOW)
    authority = x509.load_pem_x509_certificate(made.authority.read_bytes())
    found = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert found.critical
    allowed = {str(each.value) for each in found.value.permitted_subtrees or ()}
    assert {"local", "localhost", "192.168.0.0/16", "10.0.0.0/8"} <= allowed
    assert "0.0.0.0/0" not in allowed
    limits = authority.extensions.get_extension_for_class(x509.BasicConstraints).value
    assert (limits.ca, limits.path_length) == (True, 0)


def test_it_holds_as_long_as_phones_accept(tmp_path: Path) -> None:
    """A server certificate that phones accept lasts 825 days at most."""
    made = certificates(tmp_path, NAMES, NOW)
    server = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    assert server.not_valid_after_utc - server.not_valid_before_utc <= timedelta(days=825)


def test_keys_are_their_owners_alone(tmp_path: Path) -> None:
    """No one else on the machine can read a key."""
    certificates(tmp_path / "kept", NAMES, NOW)
    for name in ("authority.key", "server.key"):
        assert stat.S_IMODE((tmp_path / "kept" / name).stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "kept").stat().st_mode) == 0o700


def test_phones_need_the_authority_once(tmp_path: Path) -> None:
    """The server's certificate is renewed before it ends and for a new address; the authority stays."""
    first = certificates(tmp_path, NAMES, NOW)
    server = first.certificate.read_bytes()
    assert certificates(tmp_path, NAMES, NOW + timedelta(days=30)).certificate.read_bytes() == server
    moved = certificates(tmp_path, (*NAMES, "192.168.1.9"), NOW)
    assert moved.fingerprint == first.fingerprint
    assert moved.certificate.read_bytes() != server
    late = certificates(tmp_path, NAMES, NOW + timedelta(days=SERVER_DAYS - RENEWED_DAYS + 1))
    assert late.fingerprint == first.fingerprint
    assert late.certificate.read_bytes() != server
    named = certificates(tmp_path, (*NAMES, "cooling.example"), NOW)
    assert named.fingerprint != first.fingerprint


def test_the_fingerprint_is_the_one_phones_show(tmp_path: Path) -> None:
    """It is the SHA-256 of the authority's certificate in pairs of digits."""
    made = certificates(tmp_path, NAMES, NOW)
    authority = x509.load_pem_x509_certificate(made.authority.read_bytes())
    assert made.fingerprint == fingerprint(authority)
    assert len(made.fingerprint.split(":")) == 32


@pytest.mark.parametrize("names", [(), ("bad name\n",), ("x" * 300,)])
def test_a_name_that_cannot_stand_there_is_refused(tmp_path: Path, names: tuple[str, ...]) -> None:
    """No name, or one that no server can have, ends in a sentence."""
    with pytest.raises(Refused, match="name"):
        certificates(tmp_path, names, NOW)


def test_damaged_files_of_the_authority_are_not_replaced(tmp_path: Path) -> None:
    """A broken authority is reported, for making a new one would cut off every phone."""
    made = certificates(tmp_path, NAMES, NOW)
    made.authority.write_text("nothing")
    with pytest.raises(Refused, match="damaged"):
        certificates(tmp_path, NAMES, NOW)


@pytest.mark.parametrize(
    "name",
    [
        "host",
        "a-b.c-d",
        "7",
        "xn--mnchen-3ya.example",
        "münchen.local",
        "8.8.8.8",
        "::1",
        "[fe80::1]",
        "fd00::7",
    ],
)
def test_any_server_can_be_named_and_is_certified_once(tmp_path: Path, name: str) -> None:
    """One label, digits, other alphabets, addresses of both kinds, public ones too: made once, then kept."""
    first = certificates(tmp_path, (name,), NOW)
    server = first.certificate.read_bytes()
    again = certificates(tmp_path, (name,), NOW + timedelta(days=1))
    assert again.fingerprint == first.fingerprint
    assert again.certificate.read_bytes() == server
