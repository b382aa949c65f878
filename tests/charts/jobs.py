"""Jobs for the worker process of the tests; imported there by name."""

from __future__ import annotations

import os
import signal
import threading
from pathlib import Path


def process() -> int:
    return os.getpid()


def environment(name: str) -> str | None:
    return os.environ.get(name)


def die_once(marker: str) -> str:
    """Killed from outside in the middle of the job, the first time only."""
    if not Path(marker).exists():
        Path(marker).write_text(str(os.getpid()))
        os.kill(os.getpid(), signal.SIGKILL)
    return f"after {Path(marker).read_text()}"


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def hang(note: str) -> None:
    with Path(note).open("a") as file:
        file.write(f"{os.getpid()}\n")
    threading.Event().wait()


def refuse() -> None:
    raise TimeoutError("the job's own")
