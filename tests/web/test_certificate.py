"""The own certificate: it holds, it names this machine, it is renewed, its key stays home."""

from __future__ import annotations

import http.client
import os
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
import uvicorn
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from fastapi.testclient import TestClient

from heapwright.errors import InputError
from heapwright.web.access import Role
from heapwright.web.app import create_app
from heapwright.web.certificate import Papers, papers_of, signer_of
from heapwright.web.serving import Serving, prepare
from heapwright.web.site import Site

NOW = datetime.now(UTC).replace(microsecond=0)
ADDRESS = "192.168.7.20"


def _papers(
    folder: Path, address: str = ADDRESS, *, days: float = 0, label: str = "shed"
) -> Papers:
    now = NOW + timedelta(days=days)
    return papers_of(str(folder / "b.sqlite"), address, now=now, label=label)


def _read(papers: Papers) -> x509.Certificate:
    return x509.load_pem_x509_certificate(papers.certificate.read_bytes())


def test_names_and_addresses_of_this_machine_are_in_it(tmp_path: Path) -> None:
    made = _read(_papers(tmp_path))
    said = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert said.get_values_for_type(x509.DNSName) == ["localhost", "shed", "shed.local"]
    addresses = [ip_address(a) for a in ("127.0.0.1", ADDRESS)]
    assert said.get_values_for_type(x509.IPAddress) == addresses
    life = made.not_valid_after_utc - made.not_valid_before_utc
    assert timedelta(days=300) < life < timedelta(days=398)


def test_kept_as_long_as_it_does_and_made_anew_when_not(tmp_path: Path) -> None:
    first = _papers(tmp_path)
    assert first.renewed
    serial = _read(first).serial_number
    for days in (0, 1, 299):
        again = _papers(tmp_path, days=days)
        assert not again.renewed
        assert _read(again).serial_number == serial
    for change in ({"address": "192.168.7.21"}, {"days": 301.0}, {"label": "attic", "days": 301.0}):
        renewed = _papers(tmp_path, **change)  # type: ignore[arg-type]
        assert renewed.renewed, change
        assert renewed.signer == first.signer, change  # phones need not trust again


def test_the_signer_is_made_anew_before_it_ends(tmp_path: Path) -> None:
    first = _papers(tmp_path)
    late = _papers(tmp_path, days=3650 - 390)
    assert late.signer.fingerprint != first.signer.fingerprint
    assert late.renewed


@pytest.mark.parametrize("file", ["signer.crt", "signer.key", "server.crt", "server.key"])
@pytest.mark.parametrize("how", ["gone", "broken", "of another book"])
def test_a_lost_or_broken_file_is_mended(tmp_path: Path, file: str, how: str) -> None:
    papers = _papers(tmp_path)
    here = papers.key.parent / file
    if how == "gone":
        here.unlink()
    elif how == "broken":
        here.write_bytes(b"-----BEGIN NONSENSE-----\n")
    else:
        (tmp_path / "other").mkdir()
        here.write_bytes((_papers(tmp_path / "other").key.parent / file).read_bytes())
    mended = _papers(tmp_path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(mended.certificate, mended.key)
    signer = x509.load_der_x509_certificate(mended.signer.der)
    _read(mended).verify_directly_issued_by(signer)
    assert not _papers(tmp_path).renewed


def test_only_its_owner_may_read_it(tmp_path: Path) -> None:
    folder = _papers(tmp_path).key.parent
    assert folder.name == "b.sqlite.ca"
    assert folder.stat().st_mode & 0o777 == 0o700
    assert {f.name: f.stat().st_mode & 0o777 for f in folder.iterdir()} == dict.fromkeys(
        ("signer.crt", "signer.key", "server.crt", "server.key"), 0o600
    )


@pytest.mark.parametrize("address", ["8.8.8.8", "172.32.0.1", "100.128.0.1", "2600::1"])
def test_a_public_address_is_refused_with_the_way_out(tmp_path: Path, address: str) -> None:
    with pytest.raises(InputError, match="Leave --https out"):
        _papers(tmp_path, address)
    assert signer_of(str(tmp_path / "b.sqlite")) is None


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "b.sqlite.ca").write_text("a file where the folder should be")
    with pytest.raises(InputError, match="certificate cannot be kept"):
        _papers(tmp_path)


# --- over the wire -------------------------------------------------------------------------------


@pytest.fixture
def trusting(tmp_path: Path) -> Iterator[tuple[ssl.SSLContext, Callable[..., ssl.SSLSocket]]]:
    """What a phone that trusts the signer sees, and how to meet a server with given papers."""
    papers = _papers(tmp_path, label="shed")
    context = ssl.create_default_context(cadata=papers.signer.der)
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    opened: list[ssl.SSLSocket] = []

    def meet(name: str, certificate: Path, key: Path) -> ssl.SSLSocket:
        serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        serving.load_cert_chain(certificate, key)
        near, far = socket.socketpair()

        def serve() -> None:
            try:
                serving.wrap_socket(far, server_side=True).close()
            except (ssl.SSLError, OSError):
                far.close()

        threading.Thread(target=serve, daemon=True).start()
        met = context.wrap_socket(near, server_hostname=name)
        opened.append(met)
        return met

    yield context, meet
    for met in opened:
        met.close()


@pytest.mark.parametrize("name", ["localhost", "shed", "shed.local", "127.0.0.1", ADDRESS])
def test_a_phone_that_trusts_the_signer_believes_every_own_name(
    tmp_path: Path, trusting: tuple[ssl.SSLContext, Callable[..., ssl.SSLSocket]], name: str
) -> None:
    papers = _papers(tmp_path)
    assert trusting[1](name, papers.certificate, papers.key).version() == "TLSv1.3"


@pytest.mark.parametrize("name", ["example.org", "evil.local", "192.168.7.99"])
def test_other_names_are_not_believed(
    tmp_path: Path, trusting: tuple[ssl.SSLContext, Callable[..., ssl.SSLSocket]], name: str
) -> None:
    papers = _papers(tmp_path)
    with pytest.raises(ssl.SSLCertVerificationError):
        trusting[1](name, papers.certificate, papers.key)


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8"])
def test_even_a_stolen_signing_key_opens_no_other_site(
    tmp_path: Path, trusting: tuple[ssl.SSLContext, Callable[..., ssl.SSLSocket]], name: str
) -> None:
    folder = _papers(tmp_path).key.parent
    signer = x509.load_pem_x509_certificate((folder / "signer.crt").read_bytes())
    stolen = serialization.load_pem_private_key((folder / "signer.key").read_bytes(), None)
    assert isinstance(stolen, ec.EllipticCurvePrivateKey)
    kept = _read(_papers(tmp_path))
    said: x509.GeneralName = x509.DNSName(name)
    if name[0].isdigit():
        said = x509.IPAddress(ip_address(name))
    own = ec.generate_private_key(ec.SECP256R1())
    builder = x509.CertificateBuilder(
        signer.subject, kept.subject, own.public_key(), x509.random_serial_number(),
        kept.not_valid_before_utc, kept.not_valid_after_utc,
    )  # fmt: skip
    for extension in kept.extensions:
        value = extension.value
        if isinstance(value, x509.SubjectAlternativeName):
            value = x509.SubjectAlternativeName([said])
        builder = builder.add_extension(value, critical=extension.critical)
    forged = builder.sign(stolen, kept.signature_hash_algorithm)
    (tmp_path / "f.crt").write_bytes(forged.public_bytes(serialization.Encoding.PEM))
    (tmp_path / "f.key").write_bytes(
        own.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )  # fmt: skip
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree"):
        trusting[1](name, tmp_path / "f.crt", tmp_path / "f.key")


@pytest.fixture
def served(book: str) -> Iterator[Serving]:
    """The real server over https, with its own certificate."""
    from heapwright.web import serving as module

    made = prepare(book, port=0, https=True)
    servers: list[uvicorn.Server] = []

    class Kept(uvicorn.Server):
        def __init__(self, config: uvicorn.Config) -> None:
            super().__init__(config)
            servers.append(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(uvicorn, "Server", Kept)
        thread = threading.Thread(target=module.run, args=(made,), daemon=True)
        thread.start()
        for _ in range(200):
            if servers and servers[0].started:
                break
            time.sleep(0.05)
        yield made
        servers[0].should_exit = True
        thread.join(10)


def test_the_server_answers_over_https_and_its_cookie_stays_there(
    served: Serving, book: str
) -> None:
    signer = signer_of(book)
    assert signer is not None
    port = served.listening.getsockname()[1]
    context = ssl.create_default_context(cadata=signer.der)
    link = http.client.HTTPSConnection("localhost", port, context=context, timeout=20)
    link.request("GET", "/trust")
    answer = link.getresponse()
    assert answer.status == 200
    assert signer.fingerprint in answer.read().decode()
    assert "Secure" in (answer.getheader("set-cookie") or "")
    assert any(signer.fingerprint in line for line in served.lines)
    assert served.lines[0].startswith("Open https://localhost:")


# --- the key never leaves ------------------------------------------------------------------------


def test_the_signers_certificate_is_for_everybody_and_its_key_for_nobody(
    book: str, site_of: Callable[..., Site]
) -> None:
    papers = papers_of(book, ADDRESS, now=NOW)
    site = site_of(book)
    client = TestClient(create_app(site), follow_redirects=False)
    file = client.get("/trust/heapwright.crt")
    assert file.content == papers.signer.der
    assert file.headers["content-type"] == "application/x-x509-ca-cert"
    assert papers.signer.fingerprint in client.get("/trust").text
    name = site.door.cookie_name(https=False)
    client.cookies.set(name, site.door.cookie(Role.KEEPER))
    secrets = []
    for key in ("signer.key", "server.key"):
        pem = (papers.key.parent / key).read_bytes()
        loaded = serialization.load_pem_private_key(pem, None)
        assert isinstance(loaded, ec.EllipticCurvePrivateKey)
        number = loaded.private_numbers().private_value.to_bytes(32, "big")
        secrets += [pem, pem.splitlines()[1], number]
    folder = os.path.basename(str(papers.key.parent))
    asked = [*create_app(site).openapi()["paths"], *(
        f"{start}{folder}/{key}" for start in ("/", "/static/", "/static/../", "/trust/", "/book/")
        for key in ("signer.key", "server.key")
    ), "/trust/signer.key", "/trust/../signer.key"]  # fmt: skip
    for path in asked:
        answer = client.get(path)
        assert not any(secret in answer.content for secret in secrets), path


def test_before_there_is_one_the_page_says_the_step(
    book: str, site_of: Callable[..., Site]
) -> None:
    client = TestClient(create_app(site_of(book)), headers={"accept": "text/html"})
    assert "--lan --https" in client.get("/trust").text
    missing = client.get("/trust/heapwright.crt")
    assert missing.status_code == 404
    assert "--lan --https" in missing.text
