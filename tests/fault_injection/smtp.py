"""A mail server that takes everything, counts it by Message-ID, and can be slow; in a thread of its own."""

from __future__ import annotations

import asyncio
import collections
import threading


class Sink:
    """Listens on a port of this machine until it is closed. What it answered with 250 it has counted."""

    def __init__(self, delay: float = 0.0):
        self.delay = delay
        self.taken: collections.Counter[str] = collections.Counter()
        self.port = 0
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Sink:
        self._thread.start()
        self._ready.wait()
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)

    @property
    def total(self) -> int:
        return self.taken.total()

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        server = self._loop.run_until_complete(asyncio.start_server(self._serve, "127.0.0.1", 0))
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        self._loop.run_forever()
        server.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        async def say(line: str) -> None:
            writer.write(line.encode() + b"\r\n")
            await writer.drain()

        try:
            await say("220 sink")
            while line := await reader.readline():
                match line.split(b" ")[0].strip().upper():
                    case b"EHLO" | b"HELO":
                        await say("250 sink")
                    case b"DATA":
                        await say("354 go on")
                        await self._take(reader)
                        await say("250 taken")
                    case b"QUIT":
                        await say("221 bye")
                        break
                    case _:
                        await say("250 yes")
        except (ConnectionError, asyncio.IncompleteReadError):
            pass  # the sender was killed
        finally:
            writer.close()

    async def _take(self, reader: asyncio.StreamReader) -> None:
        known = ""
        while (line := await reader.readline()) != b".\r\n":
            if not line:
                raise ConnectionResetError
            if not known and line.lower().startswith(b"message-id:"):
                known = line.split(b":", 1)[1].strip().decode()
        await asyncio.sleep(self.delay)
        self.taken[known] += 1
