"""An own certificate for the yard's network: who signs it, what it names, when it is made anew.

Units: days.
Conventions: everything lies in a folder beside the book that only its owner may read. The signing
key never leaves that folder; what phones are asked to trust may vouch for private addresses and
``.local`` names only, so that a stolen key opens no other site. Times are those of the real clock.
Source: X.509 as in RFC 5280 (name constraints in 4.2.1.10), private addresses as in RFC 1918,
RFC 2544, RFC 3927, RFC 4193, RFC 4291, RFC 5737 and RFC 6598 (ranges from memory); the length of
life is common practice, no source.
"""

from __future__ import annotations

import os
import socket
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from heapwright.errors import InputError
from heapwright.services.settings import beside

__all__ = ["Papers", "Signer", "host_label", "papers_of", "signer_of"]

_RENEW_D, _LIFE_D, _SIGNER_LIFE_D, _SLACK_D = 300, 397, 3650, 1
#: networks that the open internet does not carry: private, shared, for tests and documents
_PRIVATE = (
    "127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16",
    "100.64.0.0/10", "192.0.2.0/24", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24",
    "::1/128", "fc00::/7", "fe80::/10",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Signer:
    """What a phone is asked to trust.

    der : the certificate as a file for phones; fingerprint : SHA-256 of it in pairs; until : its
    last moment.
    """

    der: bytes
    fingerprint: str
    until: datetime


@dataclass(frozen=True, slots=True)
class Papers:
    """What a server over https needs: signer; certificate and key : files; renewed : made now."""

    signer: Signer
    certificate: Path
    key: Path
    renewed: bool


def host_label() -> str:
    """The name of this machine without its domain, in small letters."""
    return socket.gethostname().split(".")[0].lower() or "localhost"


def signer_of(book: str) -> Signer | None:
    """The signer of a book; None where none was made yet.

    book : path or address of the book.
    """
    file = beside(book, ".ca") / "signer.crt"
    try:
        return _as_signer(x509.load_pem_x509_certificate(file.read_bytes()))
    except (OSError, ValueError):
        return None


def papers_of(book: str, address: str, *, now: datetime, label: str | None = None) -> Papers:
    """Certificate and key for this machine at *address*, made where there are none that still do.

    A certificate is made anew when the address or the name changed or it is older than 300 days;
    the signer stays for ten years less one, so that phones need not trust again.

    Parameters
    ----------
    book : str
        Path or address of the book; the files lie beside it.
    address : str
        IP address of this machine in its network; must be a private one.
    now : datetime
        The real time, aware.
    label : str, optional
        Name of this machine; that of the system without it.

    Raises
    ------
    InputError
        For a public address, or a folder that cannot be written.
    """
    _refuse_public(address)
    folder = beside(book, ".ca")
    label = label or host_label()
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.chmod(0o700)
        signer, key, fresh = _signer(folder, label, now)
        made = _certificate(folder, signer, key, (label, address), now, anew=fresh)
    except OSError as error:
        raise InputError(
            f"the certificate cannot be kept ({error.strerror})", field="book", value=str(folder),
            way_out="Give a book in a folder that may be written",
        ) from None  # fmt: skip
    return Papers(_as_signer(signer), folder / "server.crt", folder / "server.key", made)


def _refuse_public(address: str) -> None:
    if not any(ip_address(address) in ip_network(net) for net in _PRIVATE):
        raise InputError(
            "this machine has an address of the open internet: no certificate of its own for that",
            field="--https", value=address,
            way_out="Leave --https out, or join a private network",
        )  # fmt: skip


# --- the signer ----------------------------------------------------------------------------------


def _signer(
    folder: Path, label: str, now: datetime
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey, bool]:
    """The signer's certificate and key, and whether they were made now."""
    try:
        kept = x509.load_pem_x509_certificate((folder / "signer.crt").read_bytes())
        key = serialization.load_pem_private_key((folder / "signer.key").read_bytes(), None)
        lasts = kept.not_valid_after_utc > now + timedelta(days=_LIFE_D + _SLACK_D)
        if isinstance(key, ec.EllipticCurvePrivateKey) and lasts and _belongs(kept, key):
            return kept, key, False
    except (FileNotFoundError, ValueError):
        pass
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"Heapwright on {label}, own network only"[:64])]
    )
    use = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    made = (
        _begun(name, name, key.public_key(), now, _SIGNER_LIFE_D)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(use, critical=True)
        .add_extension(_only_here(label), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _keep(folder / "signer.key", _pem(key))
    _keep(folder / "signer.crt", made.public_bytes(serialization.Encoding.PEM))
    return made, key, True


def _belongs(made: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> bool:
    return made.public_key() == key.public_key()


def _only_here(label: str) -> x509.NameConstraints:
    """What the signer may vouch for: this machine's names and private addresses."""
    names = [x509.DNSName(n) for n in sorted({"localhost", "local", label})]
    nets = [x509.IPAddress(ip_network(net)) for net in _PRIVATE]
    return x509.NameConstraints([*names, *nets], None)


# --- the server's certificate --------------------------------------------------------------------


def _certificate(
    folder: Path,
    signer: x509.Certificate,
    key: ec.EllipticCurvePrivateKey,
    here: tuple[str, str],
    now: datetime,
    *,
    anew: bool,
) -> bool:
    """Make the server's certificate where the kept one no longer does; whether it was made."""
    names = _names(signer, *here)
    if not anew and _still_does(folder, signer, names, now):
        return False
    own = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, here[0][:64])])
    use = x509.KeyUsage(True, False, False, False, False, False, False, False, False)
    made = (
        _begun(name, signer.subject, own.public_key(), now, _LIFE_D)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(use, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), critical=False
        )
        .sign(key, hashes.SHA256())
    )
    _keep(folder / "server.key", _pem(own))
    _keep(folder / "server.crt", made.public_bytes(serialization.Encoding.PEM))
    return True


def _names(signer: x509.Certificate, label: str, address: str) -> list[x509.GeneralName]:
    """What the certificate names: this machine, by every name the signer may vouch for."""
    allowed = signer.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = {n.value for n in allowed.permitted_subtrees or [] if isinstance(n, x509.DNSName)}
    names = [n for n in sorted({"localhost", label}) if n in permitted]
    addresses = sorted({ip_address(a) for a in ("127.0.0.1", address)}, key=str)
    return [
        *(x509.DNSName(n) for n in [*names, f"{label}.local"]),
        *(x509.IPAddress(a) for a in addresses),
    ]


def _still_does(
    folder: Path, signer: x509.Certificate, names: list[x509.GeneralName], now: datetime
) -> bool:
    """Whether the kept certificate is whole, young enough, of that signer and with those names."""
    try:
        kept = x509.load_pem_x509_certificate((folder / "server.crt").read_bytes())
        key = serialization.load_pem_private_key((folder / "server.key").read_bytes(), None)
        kept.verify_directly_issued_by(signer)
    except Exception:  # unreadable, or of another signer: make it anew
        return False
    if not isinstance(key, ec.EllipticCurvePrivateKey) or not _belongs(kept, key):
        return False
    born = kept.not_valid_before_utc + timedelta(days=_SLACK_D)
    said = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    young = timedelta(days=-_SLACK_D) <= now - born <= timedelta(days=_RENEW_D)
    return young and list(said) == names


# --- files ---------------------------------------------------------------------------------------


def _begun(
    name: x509.Name, by: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, life_d: int
) -> x509.CertificateBuilder:
    """A certificate begun: valid from a day ago, for clocks that are behind."""
    return (
        x509.CertificateBuilder()
        .subject_name(name).issuer_name(by).public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=_SLACK_D))
        .not_valid_after(now + timedelta(days=life_d - _SLACK_D))
    )  # fmt: skip


def _as_signer(made: x509.Certificate) -> Signer:
    pairs = made.fingerprint(hashes.SHA256()).hex(":").upper()
    der = made.public_bytes(serialization.Encoding.DER)
    return Signer(der, pairs, made.not_valid_after_utc)


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )  # fmt: skip


def _keep(file: Path, content: bytes) -> None:
    """Write a file that only its owner may read; an old one is replaced whole."""
    part = file.with_suffix(".part")
    part.unlink(missing_ok=True)
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as opened:
        opened.write(content)
    part.replace(file)
