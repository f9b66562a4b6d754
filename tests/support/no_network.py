"""Keeps the tests' own processes off the network: they reach this machine and nothing else.

A test that asks a server elsewhere would pass or fail with that server. A program that a test starts is
another process and is not held; what it may reach is said by the addresses that it is given.
"""

import ipaddress
import socket
from typing import Any

_connect, _connect_ex = socket.socket.connect, socket.socket.connect_ex


class NetworkError(AssertionError):
    """A test tried to reach another machine."""


def is_here(family: int, address: Any) -> bool:
    """Whether an address is of this machine: any but those of IP, and of these the loopback ones."""
    if family not in (socket.AF_INET, socket.AF_INET6):
        return True
    host = str(address[0]).partition("%")[0]
    if host in ("", "localhost"):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _checked(each: socket.socket, address: Any) -> None:
    if not is_here(each.family, address):
        raise NetworkError(f"a test tried to reach {address[0]}, which is not this machine")


def connect(self: socket.socket, address: Any) -> None:
    _checked(self, address)
    _connect(self, address)


def connect_ex(self: socket.socket, address: Any) -> int:
    _checked(self, address)
    return _connect_ex(self, address)


def install() -> None:
    """From here on for this process; ``tests/conftest.py`` does it before the first test."""
    socket.socket.connect = connect  # type: ignore[method-assign]
    socket.socket.connect_ex = connect_ex  # type: ignore[method-assign]
