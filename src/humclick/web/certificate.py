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

from humclick.errors import Refused
from humclick.jobs.on_disk import write_whole

__all__ = ["Certificates", "certificates", "fingerprint"]

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
    """
    Files of the authority and of the server.

    Attributes
    ----------
    authority, certificate, key : Path
        The authority's certificate, to be put on phones; the server's, and its key.
    fingerprint : str
        SHA-256 of the authority's certificate, to be compared on the phone.
    """

    authority: Path
    certificate: Path
    key: Path
    fingerprint: str


def certificates(folder: Path, names: Iterable[str], now: datetime | None = None) -> Certificates:
    """
    The certificates in a folder, made or renewed where needed.

    Parameters
    ----------
    folder : Path
        Where they are kept.
    names : iterable of str
        Names and addresses under which the server is asked.
    now : datetime, optional
        The clock, if it is another.

    Raises
    ------
    Refused
        If a name cannot stand in a certificate, or the folder cannot be written.
    """
    moment = now or datetime.now(UTC)
    wanted = _named(names)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        authority_key, authority = _authority(folder, wanted, moment)
        path, key_path = folder / "server.crt", folder / "server.key"
        if not _holds(path, key_path, authority, wanted, moment):
            key = ec.generate_private_key(ec.SECP256R1())
            made = _server(wanted, key, authority, authority_key, moment)
            _keep_key(key_path, key)
            write_whole(path, made.public_bytes(serialization.Encoding.PEM))
    except OSError as error:
        raise Refused(f"{folder}: no certificates can be kept here: {error.strerror or error}") from None
    return Certificates(folder / "authority.crt", path, key_path, fingerprint(authority))


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate, in pairs of digits as phones show it."""
    digits = certificate.fingerprint(hashes.SHA256()).hex().upper()
    return ":".join(digits[at : at + 2] for at in range(0, len(digits), 2))


def _named(names: Iterable[str]) -> tuple[x509.GeneralName, ...]:
    found: dict[str, x509.GeneralName] = {}
    for name in names:
        with contextlib.suppress(ValueError):
            found[name] = x509.IPAddress(ipaddress.ip_address(name.strip("[]")))
            continue
        try:
            plain = name.encode("idna").decode("ascii").casefold()
        except UnicodeError:
            plain = ""
        if not _NAME.fullmatch(plain):
            raise Refused(f"{ascii(name)[:80]} is no name or address of a server")
        found[name] = x509.DNSName(plain)
    if not found:
        raise Refused("a certificate needs a name or an address of the server")
    return tuple(found[name] for name in sorted(found))


def _authority(
    folder: Path, wanted: tuple[x509.GeneralName, ...], now: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    path, key_path = folder / "authority.crt", folder / "authority.key"
    if path.is_file() and key_path.is_file():
        try:
            key = serialization.load_pem_private_key(key_path.read_bytes(), None)
            found = x509.load_pem_x509_certificate(path.read_bytes())
        except ValueError:
            raise Refused(f"{folder}: the authority's files are damaged; put them back or away") from None
        outlives = found.not_valid_after_utc > now + timedelta(days=SERVER_DAYS + 1)
        if isinstance(key, ec.EllipticCurvePrivateKey) and outlives and _may(found, wanted):
            return key, found
    key = ec.generate_private_key(ec.SECP256R1())
    names = [name for name in wanted if isinstance(name, x509.DNSName)]
    ranges = [x509.IPAddress(ipaddress.ip_network(each)) for each in PRIVATE]
    foreign = [
        x509.IPAddress(ipaddress.ip_network(name.value))
        for name in wanted
        if isinstance(name, x509.IPAddress) and not _private(name)
    ]
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Hum & Click, this shop, {now:%Y-%m-%d}")])
    builder = (
        _begun(subject, subject, key.public_key(), now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(
            x509.NameConstraints([x509.DNSName("local"), *names, *ranges, *foreign], None), critical=True
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    made = builder.sign(key, hashes.SHA256())
    _keep_key(key_path, key)
    write_whole(path, made.public_bytes(serialization.Encoding.PEM))
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


def _private(name: x509.IPAddress) -> bool:
    address = ipaddress.ip_address(str(name.value))
    return any(
        address in network
        for network in map(ipaddress.ip_network, PRIVATE)
        if network.version == address.version
    )


def _may(authority: x509.Certificate, wanted: tuple[x509.GeneralName, ...]) -> bool:
    """Whether the authority may vouch for every name."""
    allowed = (
        authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or ()
    )
    names = [each.value for each in allowed if isinstance(each, x509.DNSName)]
    networks = [ipaddress.ip_network(str(each.value)) for each in allowed if isinstance(each, x509.IPAddress)]
    for name in wanted:
        if isinstance(name, x509.DNSName):
            if not any(name.value == each or name.value.endswith(f".{each}") for each in names):
                return False
        elif isinstance(name, x509.IPAddress):
            address = ipaddress.ip_address(str(name.value))
            if not any(address in network for network in networks if network.version == address.version):
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
        found = x509.load_pem_x509_certificate(path.read_bytes())
        key = serialization.load_pem_private_key(key_path.read_bytes(), None)
        found.verify_directly_issued_by(authority)
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except Exception:  # missing, damaged or of another authority: all the same here
        return False
    lasting = found.not_valid_after_utc > now + timedelta(days=RENEWED_DAYS)
    return lasting and set(wanted) <= set(names) and found.public_key() == key.public_key()


def _keep_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    data = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    write_whole(path, data, mode=0o600)
