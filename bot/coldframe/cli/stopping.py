"""How a verb that serves is told to stop."""

from __future__ import annotations

import asyncio
import signal


def signalled() -> asyncio.Event:
    """Is set by a signal to stop."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    return stop
