"""A test reaches this machine and no other."""

import pathlib
import socket

import pytest

from tests.support.no_network import NetworkError, is_here

ELSEWHERE = ("192.0.2.1", 9)  # an address for documentation (RFC 5737): nobody has it


@pytest.mark.parametrize("way", ["connect", "connect_ex"])
def test_a_test_that_asks_another_machine_fails(way: str) -> None:
    with (
        socket.socket() as one,
        pytest.raises(NetworkError, match=r"192\.0\.2\.1, which is not this machine"),
    ):
        getattr(one, way)(ELSEWHERE)


def test_a_name_is_looked_up_nowhere_else_either() -> None:
    with socket.socket() as one, pytest.raises(NetworkError, match=r"training\.example"):
        one.connect(("training.example", 80))


@pytest.mark.parametrize(
    ("family", "host"),
    [
        pytest.param(socket.AF_INET, "127.0.0.1", id="IPv4"),
        pytest.param(socket.AF_INET, "127.9.8.7", id="another of the loopback"),
        pytest.param(socket.AF_INET, "localhost", id="by its name"),
        pytest.param(socket.AF_INET6, "::1", id="IPv6"),
    ],
)
def test_this_machine_is_reached(family: int, host: str) -> None:
    assert is_here(family, (host, 80))


def test_a_server_here_answers(tmp_path: pathlib.Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server, socket.create_connection(server.getsockname()):
        pass
    with socket.socket(socket.AF_UNIX) as server, socket.socket(socket.AF_UNIX) as client:
        server.bind(str(tmp_path / "s"))
        server.listen()
        client.connect(str(tmp_path / "s"))
