"""A bot's files as they stood once a team had come so far: made once by whichever worker needs them first, copied for
each test.

A bot that is opened on such a copy goes on as after a restart.
"""

from __future__ import annotations

import hashlib
import pickle
import tempfile
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol, cast

from filelock import FileLock

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


Build = Callable[[Path], AbstractAsyncContextManager[Standing]]
kept: dict[str, Path] = {}
"""Under "folder" where all workers of a run keep theirs; elsewhere each process has its own alone."""
_taken: dict[bytes, Snapshot] = {}


async def copied(folder: Path, build: Build, *key: object) -> Snapshot:
    """The files of what `build` builds, now in the folder. The key tells apart what is built differently."""
    name = pickle.dumps((build.__qualname__, key))
    if name not in _taken:
        _taken[name] = await (_taken_by_any(name, build) if kept else _taken_of(build))
    taken = _taken[name]
    for file, content in taken.files.items():
        (folder / file).write_bytes(content)
    return taken


async def _taken_by_any(name: bytes, build: Build) -> Snapshot:
    """Who comes first makes it; the others wait, and then only read."""
    file = kept["folder"] / hashlib.sha256(name).hexdigest()
    with FileLock(f"{file}.lock"):
        if not file.exists():
            unfinished = file.with_suffix(".unfinished")
            unfinished.write_bytes(pickle.dumps(await _taken_of(build)))
            unfinished.rename(file)
        return cast(Snapshot, pickle.loads(file.read_bytes()))


async def _taken_of(build: Build) -> Snapshot:
    with tempfile.TemporaryDirectory() as made:
        async with build(Path(made)) as standing:
            now, round_ = standing.clock.now(), standing.round
        files = {file: (Path(made) / file).read_bytes() for file in (BOT_FILE, KEYS_FILE, ROOM_FILE)}
    return Snapshot(files, now, round_)
