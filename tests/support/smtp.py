"""A mail server that counts what it takes by Message-ID; it can be slow or refuse. In a thread of its own."""

from __future__ import annotations

import asyncio
import collections
import threading
from collections.abc import Mapping


class Sink:
    """Listens on a port of this machine until it is closed. What it answered with 250 it has counted.

    ``answers`` replaces what it says to a command, such as ``{"RCPT": "550 no such user"}``. An empty answer
    closes the connection, None hangs. ``CONNECT`` is the greeting, ``.`` the end of the message.
    """

    def __init__(self, delay: float = 0.0, answers: Mapping[str, str | None] | None = None):
        self.delay = delay
        self.answers = dict(answers or {})
        self.texts: list[str] = []
        self.taken: collections.Counter[str] = collections.Counter()
        self.port = 0
        self._loop = asyncio.new_event_loop()
        self._ready, self._stop = threading.Event(), asyncio.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Sink:
        self._thread.start()
        self._ready.wait()
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(10)

    @property
    def total(self) -> int:
        return self.taken.total()

    def _run(self) -> None:
        with asyncio.Runner(loop_factory=lambda: self._loop) as runner:
            runner.run(self._listen())

    async def _listen(self) -> None:
        async with await asyncio.start_server(self._serve, "127.0.0.1", 0) as server:
            self.port = server.sockets[0].getsockname()[1]
            self._ready.set()
            await self._stop.wait()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        async def say(command: str, line: str) -> None:
            said = self.answers.get(command, line)
            if said is None:
                await asyncio.sleep(60)
            if not said:
                raise ConnectionResetError
            writer.write(said.encode() + b"\r\n")
            await writer.drain()

        try:
            await say("CONNECT", "220 sink")
            while line := await reader.readline():
                match command := line.decode().split(" ")[0].strip().upper():
                    case "DATA":
                        await say(command, "354 go on")
                        if not self.answers.get(command):
                            await self._take(reader)
                            await say(".", "250 taken")
                    case "QUIT":
                        await say(command, "221 bye")
                        break
                    case _:
                        await say(command, "250 yes")
        except (ConnectionError, asyncio.IncompleteReadError):
            pass  # the sender was killed
        finally:
            writer.close()

    async def _take(self, reader: asyncio.StreamReader) -> None:
        lines: list[str] = []
        while (line := await reader.readline()) != b".\r\n":
            if not line:
                raise ConnectionResetError
            lines.append(line.decode())
        await asyncio.sleep(self.delay)
        known = next((each for each in lines if each.lower().startswith("message-id:")), ":")
        self.taken[known.split(":", 1)[1].strip()] += 1
        self.texts.append("".join(lines))
