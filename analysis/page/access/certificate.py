"""A certificate made on the spot, so that phones get HTTPS and with it their camera.

Tested in tests/analysis/page/access/test_pairing.py.
"""

from __future__ import annotations

import ipaddress
import os
import secrets
import ssl
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

DAYS = 30


@dataclass(frozen=True)
class Certificate:
    """Files of a certificate and its key, and the fingerprint to compare by eye.

    The key's file is locked with `password`, which is kept in memory only.
    """

    certificate: Path
    key: Path
    password: str
    fingerprint: str


def server_context(hosts: Sequence[str]) -> tuple[ssl.SSLContext, str]:
    """Make a certificate for these hosts; return what serves with it, and its fingerprint.

    Python reads keys from files only. So the key lies on disk for the moment in which it is read,
    and even then it is locked: a program that is killed there leaves nothing that opens anything.
    """
    with tempfile.TemporaryDirectory(prefix="wetline-") as folder:
        made = make_certificate(Path(folder), hosts)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(made.certificate, made.key, made.password)
    return context, made.fingerprint


def make_certificate(
    folder: Path, hosts: Sequence[str], now: datetime | None = None
) -> Certificate:
    """Make a key and a certificate signed by itself for these hosts.

    Parameters
    ----------
    folder : Path
        Where the two files go; only the user may read the key.
    hosts : sequence of str
        Names and addresses.
    now : datetime, optional

    Notes
    -----
    Source: RFC 5280 (certificates), RFC 6125 (names go into subjectAltName). Elliptic curve
    P-256; valid 30 days.
    """
    now = now or datetime.now(UTC)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Wetline on this shop's network")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=DAYS))
        .add_extension(x509.SubjectAlternativeName([_alt(h) for h in hosts]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    files = Certificate(
        folder / "page.crt",
        folder / "page.key",
        secrets.token_urlsafe(32),
        _shown(certificate.fingerprint(hashes.SHA256())),
    )
    files.certificate.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    write_private(
        files.key,
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.BestAvailableEncryption(files.password.encode()),
        ),
    )
    return files


def write_private(path: Path, data: bytes) -> None:
    """Write a file that only its owner may read."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(data)


def _alt(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host.strip("[]")))
    except ValueError:
        return x509.DNSName(host)


def _shown(digest: bytes) -> str:
    return ":".join(f"{byte:02X}" for byte in digest)
