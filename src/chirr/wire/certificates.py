"""Making the farm's own certificate authority, and certificates for the farm's computer (RFC 5280).

The authority may vouch only for names and addresses of private networks: its certificate carries name constraints
(RFC 5280, 4.2.1.10), so that a stolen key could not be used to pose as a bank. Which phones keep to them is told in
the manual.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_DAYS = 3650
"""Ten years: nobody sets every phone up more often than must be. A judgement, no published source."""
SERVER_DAYS = 397
"""Under 398, beyond which Apple refuses certificates of the authorities that it ships (support.apple.com/102028). For
an authority that a user added it allows 825 days (support.apple.com/103769)."""
BACKDATED = timedelta(days=2)
"""So that a phone whose clock is a day behind accepts them; counted within the days above."""

PRIVATE_NETWORKS = (
    "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16",  # RFC 1918
    "100.64.0.0/10",  # RFC 6598: behind a provider's shared address
    "169.254.0.0/16", "fe80::/10",  # RFC 3927, RFC 4291: without a router
    "127.0.0.0/8", "::1/128",  # the machine itself
    "fc00::/7",  # RFC 4193
)  # fmt: skip
PRIVATE_NAMES = ("localhost", "local", "home.arpa", "internal", "lan")
"""RFC 6761, RFC 6762, RFC 8375; 'internal' is set aside by ICANN (2024, from memory); 'lan' is common practice of
routers. Each stands for itself and all names under it."""


@dataclass(frozen=True)
class Pair:
    """A certificate and its private key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def ends(self) -> datetime:
        return self.certificate.not_valid_after_utc

    def certificate_pem(self) -> bytes:
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    def key_pem(self) -> bytes:
        """The key as PKCS#8, which is what the server reads."""
        return self.key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )

    def belong_together(self) -> bool:
        return bool(self.key.public_key() == self.certificate.public_key())


def make_authority(farm: str, names: Iterable[str], addresses: Iterable[str], now: datetime) -> Pair:
    """A new authority of the farm, from two days before `now` for ten years.

    It may vouch for private names and networks, and for `names` and `addresses` (of this machine) outside of them.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name(
        [x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Chirr"), x509.NameAttribute(NameOID.COMMON_NAME, _called(farm))]
    )
    builder = _begin(subject, subject, key, now, now - BACKDATED + timedelta(days=AUTHORITY_DAYS))
    certificate = (
        builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(signs_certificates=True), critical=True)
        .add_extension(_permitted(names, addresses), critical=True)
        .sign(key, hashes.SHA256())
    )
    return Pair(certificate, key)


def make_server(authority: Pair, names: Iterable[str], addresses: Iterable[str], now: datetime) -> Pair:
    """A certificate for the farm's computer under these names and addresses; it never outlives its authority.

    Names and addresses that the authority may not vouch for must have been left out (`may_vouch`).
    """
    key = ec.generate_private_key(ec.SECP256R1())
    names = list(names)
    ends = min(now - BACKDATED + timedelta(days=SERVER_DAYS), authority.ends)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])])
    known_as = [*map(x509.DNSName, names), *(x509.IPAddress(ipaddress.ip_address(a)) for a in addresses)]
    builder = _begin(subject, authority.certificate.subject, key, now, ends)
    certificate = (
        builder.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(known_as), critical=False)
        .add_extension(_issued_by(authority), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    return Pair(certificate, key)


def may_vouch(authority: x509.Certificate, who: str) -> bool:
    """Whether the authority's constraints let it vouch for a name or an address."""
    allowed = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    try:
        ip = ipaddress.ip_address(who)
    except ValueError:
        roots = [a.value for a in allowed if isinstance(a, x509.DNSName)]
        return any(who == root or who.endswith(f".{root}") for root in roots)
    networks = [ipaddress.ip_network(str(a.value)) for a in allowed if isinstance(a, x509.IPAddress)]
    return any(ip in network for network in networks)


def known_as(certificate: x509.Certificate) -> tuple[set[str], set[str]]:
    """The names and the addresses that a server's certificate is for."""
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return set(names.get_values_for_type(x509.DNSName)), {str(a) for a in names.get_values_for_type(x509.IPAddress)}


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate, as phones show it: pairs of hexadecimal digits with colons between."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _begin(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, ends: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(ends)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _called(farm: str) -> str:
    """The authority's name on a phone: at most 64 bytes (RFC 5280 has 64 letters; the library counts bytes)."""
    room = 64 - len(" (Chirr)")
    return f"{farm.encode()[:room].decode(errors='ignore').strip()} (Chirr)"


def _issued_by(authority: Pair) -> x509.AuthorityKeyIdentifier:
    its = authority.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    return x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(its)


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates, key_cert_sign=signs_certificates, crl_sign=False,
        content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _permitted(names: Iterable[str], addresses: Iterable[str]) -> x509.NameConstraints:
    networks = [ipaddress.ip_network(n) for n in PRIVATE_NETWORKS]
    for address in addresses:
        ip = ipaddress.ip_address(address)
        if not any(ip in network for network in networks):
            networks.append(ipaddress.ip_network(address))
    roots = list(PRIVATE_NAMES)
    roots += [n for n in names if not any(n == root or n.endswith(f".{root}") for root in roots)]
    return x509.NameConstraints([*map(x509.DNSName, roots), *map(x509.IPAddress, networks)], None)
