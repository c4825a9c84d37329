"""
A shop's own certificate authority, and the server's certificate from it.

Browsers work without a network only over https. A shop without a public name makes its own authority once,
puts its certificate on its phones, and from then on the server has certificates of it. The authority may
vouch for names of this network only (name constraints, RFC 5280, 4.2.1.10): private addresses, ``.local`` and
the names it was made for; so whoever trusts it trusts it for nothing else.

Keys are elliptic (P-256) and readable by their owner only. Times in days.
"""

from __future__ import annotations

import contextlib
import ipaddress
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from humclick.errors import Refused, because
from humclick.jobs.on_disk import write_whole
from humclick.messages import Message, Verbatim

#: How long the authority and the server's certificate hold; some phones refuse the latter above 825.
AUTHORITY_DAYS, SERVER_DAYS = 1826, 397
#: A certificate that ends sooner is made anew.
RENEWED_DAYS = 30
#: Address ranges of private networks: RFC 1918, RFC 3927, RFC 4193, RFC 4291, and the machine itself.
PRIVATE = (
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8"),
    *("fc00::/7", "fe80::/10", "::1/128"),
)

_NAME = re.compile(r"(?!-)[a-z0-9-]{1,63}(?:\.(?!-)[a-z0-9-]{1,63})*")


@dataclass(frozen=True, slots=True)
class Certificates:
    """Files of the authority and of the server."""

    #: The authority's certificate, to be put on phones; then the server's, and its key.
    authority: Path
    certificate: Path
    key: Path
    #: SHA-256 of the authority's certificate, to be compared on the phone.
    fingerprint: str


def certificates(folder: Path, names: Iterable[str], now: datetime | None = None) -> Certificates:
    """
    The certificates in a folder for these names and addresses, made or renewed where needed.

    Refused if a name cannot stand in a certificate, or the folder cannot be written.
    """
    moment = now or datetime.now(UTC)
    wanted = _named(names)
    path, key_path = folder / "server.crt", folder / "server.key"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        signing, authority = _authority(folder, moment) or _new_authority(folder, wanted, moment)
        if not _holds(path, key_path, authority, wanted, moment):
            key = ec.generate_private_key(ec.SECP256R1())
            made = _server(wanted, key, authority, signing, moment)
            if not _trusted(made, authority, wanted, moment):  # a name that this authority may not vouch for
                signing, authority = _new_authority(folder, wanted, moment)
                made = _server(wanted, key, authority, signing, moment)
            _write(path, made, key_path, key)
    except OSError as error:
        raise Refused(
            Message(
                "{folder}: no certificates can be kept here: {why}",
                folder=Verbatim(folder),
                why=because(error),
            )
        ) from None
    return Certificates(folder / "authority.crt", path, key_path, fingerprint(authority))


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate, in pairs of digits as phones show it."""
    digits = certificate.fingerprint(hashes.SHA256()).hex().upper()
    return ":".join(digits[at : at + 2] for at in range(0, len(digits), 2))


def _named(names: Iterable[str]) -> tuple[x509.GeneralName, ...]:
    general: dict[str, x509.GeneralName] = {}
    for name in names:
        with contextlib.suppress(ValueError):
            general[name] = x509.IPAddress(ipaddress.ip_address(name.strip("[]")))
            continue
        try:
            plain = name.encode("idna").decode("ascii").casefold()
        except UnicodeError:
            plain = ""
        if not _NAME.fullmatch(plain):
            raise Refused(Message("{name} is no name or address of a server", name=ascii(name)[:80]))
        general[name] = x509.DNSName(plain)
    if not general:
        raise Refused(Message("a certificate needs a name or an address of the server"))
    return tuple(general[name] for name in sorted(general))


def _authority(folder: Path, now: datetime) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate] | None:
    """The authority that is there and outlives a server's certificate of today."""
    path, key_path = folder / "authority.crt", folder / "authority.key"
    if not (path.is_file() and key_path.is_file()):
        return None
    try:
        key = serialization.load_pem_private_key(key_path.read_bytes(), None)
        certificate = x509.load_pem_x509_certificate(path.read_bytes())
    except ValueError:
        raise Refused(
            Message(
                "{folder}: the authority's files are damaged; put them back or away", folder=Verbatim(folder)
            )
        ) from None
    outlives = certificate.not_valid_after_utc > now + timedelta(days=SERVER_DAYS + 1)
    return (key, certificate) if isinstance(key, ec.EllipticCurvePrivateKey) and outlives else None


def _new_authority(
    folder: Path, wanted: tuple[x509.GeneralName, ...], now: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    """An authority for private addresses, ``.local`` and what is wanted, kept in the folder."""
    key = ec.generate_private_key(ec.SECP256R1())
    allowed = [x509.DNSName("local"), *(x509.IPAddress(ipaddress.ip_network(network)) for network in PRIVATE)]
    for name in wanted:
        subtree = (
            x509.IPAddress(ipaddress.ip_network(name.value)) if isinstance(name, x509.IPAddress) else name
        )
        allowed.append(subtree)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Hum & Click, this shop, {now:%Y-%m-%d}")])
    builder = (
        _begun(subject, subject, key.public_key(), now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    made = builder.sign(key, hashes.SHA256())
    _write(folder / "authority.crt", made, folder / "authority.key", key)
    return key, made


def _server(
    wanted: tuple[x509.GeneralName, ...],
    key: ec.EllipticCurvePrivateKey,
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
    now: datetime,
) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Hum & Click server")])
    return (
        _begun(subject, authority.subject, key.public_key(), now, SERVER_DAYS)
        .add_extension(x509.SubjectAlternativeName(wanted), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=days))
    )


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _trusted(
    server: x509.Certificate, authority: x509.Certificate, wanted: tuple[x509.GeneralName, ...], at: datetime
) -> bool:
    """Whether who trusts the authority accepts the server's certificate for every name."""
    policy = PolicyBuilder().store(Store([authority])).time(at)
    try:
        for name in wanted:
            assert isinstance(name, x509.DNSName | x509.IPAddress)
            policy.build_server_verifier(name).verify(server, [])
    except VerificationError:
        return False
    return True


def _holds(
    path: Path,
    key_path: Path,
    authority: x509.Certificate,
    wanted: tuple[x509.GeneralName, ...],
    now: datetime,
) -> bool:
    """Whether the server's certificate is there, of this authority, for these names, and for a while yet."""
    try:
        certificate = x509.load_pem_x509_certificate(path.read_bytes())
        key = serialization.load_pem_private_key(key_path.read_bytes(), None)
    except (OSError, ValueError, TypeError):  # missing or damaged
        return False
    later = now + timedelta(days=RENEWED_DAYS)
    return certificate.public_key() == key.public_key() and _trusted(certificate, authority, wanted, later)


def _write(path: Path, made: x509.Certificate, key_path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    """The key, for its owner alone, and its certificate."""
    data = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    write_whole(key_path, data, mode=0o600)
    write_whole(path, made.public_bytes(serialization.Encoding.PEM))
