"""Under which names browsers reach a room: only those of this machine, or those of a network as well."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Sequence

NETWORK = "0.0.0.0"
"""Listening here lets in whoever reaches any address of this machine."""
_ELSEWHERE = [(socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")]
"""Addresses for documentation (RFC 5737, RFC 3849): asking for the way there sends nothing."""


def only_here(host: str) -> bool:
    """Whether nobody but this machine can open what is served at the address."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def names(host: str, given: Sequence[str]) -> tuple[str, ...]:
    """By which names browsers may call, the one for links first: what was given, then what this machine is called."""
    if only_here(host):
        return (*given, "localhost")
    try:
        every = ipaddress.ip_address(host.strip("[]")).is_unspecified
    except ValueError:
        every = False
    found = _own_addresses() if every else (host,)
    return (*given, *found, "localhost")


def _own_addresses() -> tuple[str, ...]:
    """The addresses by which others reach this machine, as the way to somewhere else begins."""
    found = []
    for family, there in _ELSEWHERE:
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as way:
                way.connect((there, 9))
                address = way.getsockname()[0]
        except OSError:  # there is no such network
            continue
        found.append(f"[{address}]" if family is socket.AF_INET6 else address)
    return tuple(found)
