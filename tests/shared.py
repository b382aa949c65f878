"""What is made once for a whole run, by whichever worker needs it first."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

import pytest
from filelock import FileLock

T = TypeVar("T")


def of_all_workers(factory: pytest.TempPathFactory) -> Path:
    """The folder in which those of all workers stand."""
    base = factory.getbasetemp()
    return base.parent if "PYTEST_XDIST_WORKER" in os.environ else base


def once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """A folder that all workers share. Who comes first fills it; the others wait, and then only read."""
    top = of_all_workers(factory)
    made, unfinished = top / name, top / f"{name}.unfinished"
    with FileLock(top / f"{name}.lock"):
        if not made.exists():
            unfinished.mkdir()
            make(unfinished)
            unfinished.rename(made)
    return made


def finished(work: Coroutine[Any, Any, T]) -> T:
    """What a coroutine comes to, in an event loop of its own, even where another one runs already."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()
