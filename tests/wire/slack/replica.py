"""One process of the bot as `coldframe slack` runs it, under a clock that it shares with the test.

    python -m tests.wire.slack.replica CLOCK_FILE (socket | http)

Only the clock and the length of a lease are others: settings come from the environment, signals stop it, and wiring
builds it.
"""

from __future__ import annotations

import asyncio
import mmap
import struct
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coldframe.cli.slack import run
from coldframe.store import due_queue, sql

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class SharedClock:
    """Time in a file of eight bytes, the same for all processes. It stands still until somebody moves it; who waits
    moves it by what they wait for."""

    def __init__(self, path: Path) -> None:
        with path.open("r+b") as file:
            self._memory = mmap.mmap(file.fileno(), 8)

    @classmethod
    def made(cls, path: Path, start: datetime) -> SharedClock:
        path.write_bytes(bytes(8))
        clock = cls(path)
        clock.set(start)
        return clock

    def now(self) -> datetime:
        return EPOCH + timedelta(microseconds=struct.unpack("q", self._memory[:8])[0])

    def set(self, moment: datetime) -> None:
        """Moves to the moment; never backwards."""
        if moment > self.now():
            self._memory[:8] = struct.pack("q", (moment - EPOCH) // timedelta(microseconds=1))

    async def sleep(self, seconds: float) -> None:
        self.set(self.now() + timedelta(seconds=seconds))
        await asyncio.sleep(0)


if __name__ == "__main__":
    # Each wait moves the time of all: while a picture is drawn, minutes of it may go by with what others send.
    sql.LEASE = due_queue.LEASE = timedelta(minutes=8)
    asyncio.run(run(sys.argv[2], SharedClock(Path(sys.argv[1]))))
