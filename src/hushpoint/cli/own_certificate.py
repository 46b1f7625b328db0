"""A certificate of one's own making: good for a class that compares its fingerprint, trusted by nobody else."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from hushpoint.cli.whole_file import whole_file
from hushpoint.errors import BadInputError, HushpointError

CERTIFICATE, KEY = "own-certificate.pem", "own-key.pem"
DAYS = 365
"""Phones refuse certificates of more than 825 days, some of more than 398 (from memory)."""
_LOOPBACK = ("127.0.0.1", "::1")


class CertificateError(HushpointError):
    """The certificate could not be made."""


def own_certificate_in(folder: Path, *, names: Sequence[str], addresses: Sequence[str]) -> tuple[Path, Path]:
    """Return certificate and key in the folder, mode 0600, made anew where they do not fit or end within a week."""
    certificate, key = folder / CERTIFICATE, folder / KEY
    wanted = {*names, *addresses, *_LOOPBACK}
    if key.is_file() and _fits(certificate, wanted):
        return certificate, key
    made = ec.generate_private_key(ec.SECP256R1())
    called = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Hushpoint on this laptop")])
    now = datetime.now(UTC)
    alternatives: list[x509.GeneralName] = [x509.DNSName(name) for name in sorted(names)]
    alternatives += [x509.IPAddress(ipaddress.ip_address(one)) for one in sorted({*addresses, *_LOOPBACK})]
    signed = (
        x509.CertificateBuilder()
        .subject_name(called)
        .issuer_name(called)
        .public_key(made.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))  # a phone's clock may be behind
        .not_valid_after(now + timedelta(days=DAYS))
        .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(made, hashes.SHA256())
    )
    secret = made.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        whole_file(key, secret)
    except OSError as trouble:
        raise CertificateError(f"{folder}: the certificate cannot be written: {trouble.strerror}") from None
    try:
        whole_file(certificate, signed.public_bytes(serialization.Encoding.PEM))
    except BadInputError:
        key.unlink()  # a key without its own certificate serves nobody; without it both are made anew
        raise
    return certificate, key


def fingerprint(certificate: Path) -> str:
    """Return the SHA-256 fingerprint as phones show it."""
    digest = x509.load_pem_x509_certificate(certificate.read_bytes()).fingerprint(hashes.SHA256())
    return digest.hex(":").upper()


def _fits(certificate: Path, wanted: set[str]) -> bool:
    try:
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
        held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound):
        return False
    names = {*held.get_values_for_type(x509.DNSName), *map(str, held.get_values_for_type(x509.IPAddress))}
    return wanted <= names and found.not_valid_after_utc > datetime.now(UTC) + timedelta(days=7)
