"""A bot's files as they stood once a team had come so far: made once in each worker, copied for each test.

A bot that is opened on such a copy goes on as after a restart.
"""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from coldframe.clock import ManualClock
from coldframe.domain.state import Round

BOT_FILE, KEYS_FILE, ROOM_FILE = "bot.db", "bot.db-keys", "room.db"


class Standing(Protocol):
    """What stands when its files are copied."""

    clock: ManualClock
    round: Round


@dataclass(frozen=True)
class Snapshot:
    files: dict[str, bytes]
    now: datetime
    round: Round


_taken: dict[bytes, Snapshot] = {}


async def copied(
    folder: Path, build: Callable[[Path], AbstractAsyncContextManager[Standing]], *key: object
) -> Snapshot:
    """The files of what `build` builds, now in the folder. The key tells apart what is built differently."""
    name = pickle.dumps((build.__qualname__, key))
    if name not in _taken:
        with tempfile.TemporaryDirectory() as made:
            async with build(Path(made)) as standing:
                now, round_ = standing.clock.now(), standing.round
            files = {file: (Path(made) / file).read_bytes() for file in (BOT_FILE, KEYS_FILE, ROOM_FILE)}
        _taken[name] = Snapshot(files, now, round_)
    taken = _taken[name]
    for file, content in taken.files.items():
        (folder / file).write_bytes(content)
    return taken
