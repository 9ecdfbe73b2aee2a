"""An exchange over https: with a certificate that the computer trusts, and with none that it does."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from tests.contract.exchange_processes import Server, Side, code_of, make_server


def make_certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate for this computer, signed by itself, and its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "hub of a test")])
    here = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))])
    now = datetime.now(tz=UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(here, critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    certificate, private_key = folder / "certificate.pem", folder / "key.pem"
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private_key.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    return certificate, private_key


@pytest.fixture
def certificate(tmp_path: Path) -> tuple[Path, Path]:
    return make_certificate(tmp_path)


@pytest.fixture
def server(tmp_path: Path, certificate: tuple[Path, Path]) -> Iterator[Server]:
    words = ("--certificate", str(certificate[0]), "--private-key", str(certificate[1]))
    running = make_server(tmp_path / "hub", *words)
    running.start()
    yield running
    running.end()


def test_an_exchange_is_encrypted_and_only_with_a_certificate_that_is_trusted(
    server: Server, certificate: tuple[Path, Path], tmp_path: Path
) -> None:
    assert server.address.startswith("https://")
    stranger = Side(tmp_path / "stranger", "stranger")
    stranger.folder.mkdir()
    process = stranger.start("exchange", "join", server.address, code_of(server))
    _, told = process.communicate(timeout=60)
    assert process.returncode == 1
    assert b"CERTIFICATE_VERIFY_FAILED" in told
    laptop = Side(tmp_path / "laptop", "laptop", more={"SSL_CERT_FILE": str(certificate[0])})
    laptop.folder.mkdir()
    laptop.run("exchange", "join", server.address, code_of(server), "--device-name", "laptop")
    laptop.note(1)
    laptop.run("exchange", "with")
    assert laptop.acknowledged <= server.side.identities()


def test_a_certificate_without_its_key_is_refused_before_anything_is_served(
    certificate: tuple[Path, Path], tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    _, foreign = make_certificate(other)
    hub = make_server(tmp_path / "hub").side
    for words in (
        ("--certificate", str(certificate[0])),
        ("--certificate", str(certificate[0]), "--private-key", str(foreign)),
    ):
        process = hub.start("serve", "--port", "0", *words)
        out, told = process.communicate(timeout=60)
        assert (process.returncode, out) == (2, b"")
        assert b"--certificate" in told
