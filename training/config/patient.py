"""Gunicorn's threaded worker, whose threads never wait for a client.

Gunicorn's own hands a connection to one of a few threads, which then waits for the rest of the request: as
many slow clients as there are threads stop the server. Here the loop that accepts connections also collects
what they send, and a thread gets a request that is complete.
"""

from __future__ import annotations

import re
import selectors
import socket
import struct
import time
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from gunicorn import http  # type: ignore[import-untyped]
from gunicorn.workers.gthread import TConn, ThreadWorker  # type: ignore[import-untyped]

#: Seconds for the head of a request; its body may take longer, at so many bytes a second.
SECONDS, BYTES_A_SECOND = 10, 20_000
#: Bytes of a head, of a body that is waited for (the program refuses longer ones unread), and held in all.
MOST_HEAD, MOST_BODY, MOST_HELD = 128 * 1024, 11 * 1024 * 1024, 128 * 1024 * 1024
#: Seconds that a thread's write waits for a client that does not read.
SEND_SECONDS = 15
_END = b"\r\n\r\n"
_LENGTH = re.compile(rb"\r\ncontent-length:[ \t]*(\d{1,12})[ \t]*\r\n", re.IGNORECASE)
#: A body whose end no length tells, for which a thread would wait: in chunks, or of a length that is none.
_OF_NO_LENGTH = re.compile(
    rb"\r\n(?:transfer-encoding[ \t]*:|content-length[ \t]*:(?![ \t]*\d{1,12}[ \t]*\r\n))", re.IGNORECASE
)
_REFUSED = b"HTTP/1.1 411 Length Required\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
_CONTINUE = re.compile(rb"\r\nexpect:[ \t]*100-continue[ \t]*\r\n", re.IGNORECASE)


@dataclass(eq=False)
class Arriving:
    """A request of which something is still missing. ``whole``: its bytes, once the head is complete."""

    conn: Any
    data: bytearray
    until: float = field(default_factory=lambda: time.monotonic() + SECONDS)
    whole: int = 0

    def complete(self) -> bool:
        if not self.whole and (end := self.data.find(_END)) >= 0:
            end += len(_END)
            head = bytes(self.data[:end])
            if _OF_NO_LENGTH.search(head):
                self.conn.sock.send(_REFUSED)
                raise ConnectionError("a body of no length")
            found = _LENGTH.search(head)
            length = int(found[1]) if found else 0
            length = length if length <= MOST_BODY else 0
            self.whole = end + length
            self.until = time.monotonic() + SECONDS + length / BYTES_A_SECOND
            if length and len(self.data) < self.whole and _CONTINUE.search(head):
                self.conn.sock.send(b"HTTP/1.1 100 Continue\r\n\r\n")
        return 0 < self.whole <= len(self.data)


class Worker(ThreadWorker):
    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.arriving: dict[Arriving, None] = {}
        self.rest: dict[Any, bytearray] = {}  # what came after a request that a thread has
        self.looked = 0.0

    def accept(self, listener: socket.socket) -> None:
        try:
            sock, client = listener.accept()
        except (BlockingIOError, ConnectionAbortedError):
            return
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("ll", SEND_SECONDS, 0))
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, struct.pack("ll", SECONDS, 0))
        self.nr_conns += 1
        self.expect(TConn(self.cfg, sock, client, listener.getsockname()))
        if self.nr_conns >= self.worker_connections and self.arriving:
            self.drop(next(iter(self.arriving)))  # whoever waits longest makes room

    def expect(self, conn: Any, data: bytes = b"") -> None:
        """Collect the next request of a connection, of which ``data`` came with the one before."""
        found = Arriving(conn, bytearray(data))
        self.arriving[found] = None
        self.poller.register(conn.sock, selectors.EVENT_READ, partial(self.on_data, found))
        if data:
            self.pass_on(found)

    def on_data(self, found: Arriving, sock: socket.socket) -> None:
        try:
            came = sock.recv(256 * 1024)
        except BlockingIOError:
            return
        except OSError:
            came = b""
        found.data += came
        if not came or (not found.whole and len(found.data) > MOST_HEAD and _END not in found.data):
            self.drop(found)
            return
        self.pass_on(found)
        if sum(len(each.data) for each in self.arriving) > MOST_HELD:
            self.drop(max(self.arriving, key=lambda each: len(each.data)))

    def pass_on(self, found: Arriving) -> None:
        """Give the request to a thread, if it is complete."""
        try:
            if not found.complete():
                return
        except OSError:
            self.drop(found)
            return
        conn = found.conn
        del self.arriving[found]
        self.poller.unregister(conn.sock)
        if conn.parser is None:
            conn.parser = http.get_parser(self.cfg, conn.sock, conn.client)
        conn.data_ready = True
        conn.parser.unreader.unread(bytes(found.data[: found.whole]))
        if rest := found.data[found.whole :]:
            self.rest[conn] = rest
        self.enqueue_req(conn)

    def on_client_socket_readable(self, conn: Any, client: Any) -> None:
        """The next request of a connection that was kept."""
        self.poller.unregister(client)
        self.keepalived_conns.remove(conn)
        self.expect(conn, bytes(self.rest.pop(conn, b"")))

    def finish_request(self, conn: Any, fs: Any) -> None:
        super().finish_request(conn, fs)
        if conn in self.rest and conn in self.keepalived_conns:
            self.on_client_socket_readable(conn, conn.sock)
        else:
            self.rest.pop(conn, None)

    def murder_pending(self) -> None:
        """Drop what takes too long, and where the server stops, what did not begin."""
        now = time.monotonic()
        if now - self.looked < 1 and self.alive:
            return
        self.looked = now
        for each in [each for each in self.arriving if each.until < now or not (self.alive or each.data)]:
            self.drop(each)

    def drop(self, found: Arriving) -> None:
        del self.arriving[found]
        self.poller.unregister(found.conn.sock)
        self.nr_conns -= 1
        found.conn.close()
