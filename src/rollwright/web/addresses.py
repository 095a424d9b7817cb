"""Addresses of this machine inside the house."""

from __future__ import annotations

import ipaddress
import socket
from contextlib import suppress

__all__ = ["is_in_the_house", "private_addresses"]


def is_in_the_house(address: str) -> bool:
    """Return whether an address is a private IPv4 one (RFC 1918), which no one outside can reach."""
    try:
        found = ipaddress.IPv4Address(address)
    except ValueError:
        return False
    house = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16")
    return any(found in ipaddress.IPv4Network(each) for each in house)


def private_addresses() -> tuple[str, ...]:
    """Return the addresses by which others in the house reach this machine, the likeliest first."""
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        # Choosing a way for a datagram sends none; 192.0.2.1 is kept for documents (RFC 5737).
        probe.connect(("192.0.2.1", 9))
        found.append(probe.getsockname()[0])
    with suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(each for each in dict.fromkeys(found) if is_in_the_house(each))
