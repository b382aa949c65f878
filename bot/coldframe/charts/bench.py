"""What runs in the worker process. Only the standard library is loaded here: the worker needs neither log nor pool."""

from __future__ import annotations

import importlib
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Callable
from typing import Any

from coldframe import memory


def run(function: str | Callable[..., Any], args: tuple[object, ...]) -> Any:
    return (_named(function) if isinstance(function, str) else function)(*args)


def _named(path: str) -> Callable[..., Any]:
    module, _, name = path.partition(":")
    found: Callable[..., Any] = getattr(importlib.import_module(module), name)
    return found


def prepare(font_directory: str | None) -> None:
    """In the new worker: one thread for linear algebra, no share in Ctrl-C, no life after the bot's."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    memory.look_seldom()  # a picture is thousands of objects that end together
    if font_directory is not None:
        os.environ["MPLCONFIGDIR"] = font_directory
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        multiprocessing.connection.wait([parent.sentinel])
        os._exit(1)
