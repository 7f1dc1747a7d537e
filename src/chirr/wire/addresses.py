"""Under which names and addresses other machines on the farm's network find this one."""

from __future__ import annotations

import ipaddress
import re
import socket
import struct
import sys
from collections.abc import Iterable

_SOMEWHERE = ("192.0.2.1", "10.255.255.255", "172.31.255.255", "192.168.255.255")
"""Far ends to ask the routing table about. Connecting a UDP socket sends nothing; it only picks the way out."""
_INSIDE = ("docker", "br-", "veth", "virbr")
"""Beginnings of the names of networks that live inside the machine."""
_ASK_ADDRESS = {"linux": 0x8915, "darwin": 0xC0206921}
"""The system's own number for 'what is the IPv4 address of this interface' (SIOCGIFADDR)."""


def lan_addresses() -> list[str]:
    """IPv4 addresses of this machine, the one of the usual way out first; without loopback."""
    found = [*_ways_out(), *_interfaces(), *_by_name()]
    return [a for a in dict.fromkeys(found) if _usable(a)]


def host_name() -> str:
    """The machine's own name in small letters, without a domain; 'localhost' where it has none that will do."""
    name = socket.gethostname().split(".", 1)[0].lower()
    return name if is_name(name) else "localhost"


def is_name(text: str) -> bool:
    """Whether a text can be the name of a machine: labels of letters, digits and hyphens (RFC 1123, section 2.1)."""
    labels = text.split(".")
    return len(text) <= 253 and all(re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?", label) for label in labels)


def names_for(name: str) -> list[str]:
    """The names that a machine called `name` goes by: as given, and with .local where it has no domain (RFC 6762)."""
    dotted = [name] if "." in name or name == "localhost" else [f"{name}.local", name]
    return list(dict.fromkeys([*dotted, "localhost"]))


def _usable(address: str) -> bool:
    ip = ipaddress.IPv4Address(address)
    return not (ip.is_loopback or ip.is_unspecified or ip.is_multicast)


def _ways_out() -> Iterable[str]:
    for far in _SOMEWHERE:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as ask:
            try:
                ask.connect((far, 9))
            except OSError:
                continue
            yield ask.getsockname()[0]


def _interfaces() -> Iterable[str]:
    """Each network interface's address, where the system can be asked."""
    question = _ASK_ADDRESS.get(sys.platform)
    if question is None:
        return
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as ask:
        for _, name in socket.if_nameindex():
            if name.startswith(_INSIDE):
                continue
            try:
                answer = fcntl.ioctl(ask.fileno(), question, struct.pack("256s", name.encode()[:15]))
            except OSError:
                continue
            yield socket.inet_ntoa(answer[20:24])


def _by_name() -> Iterable[str]:
    """What the machine's own name leads to; the only way to ask for all interfaces on Windows."""
    try:
        return socket.gethostbyname_ex(socket.gethostname())[2]
    except OSError:
        return []
