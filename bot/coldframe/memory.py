"""How often the interpreter looks for objects that hold one another, and at which."""

from __future__ import annotations

import atexit
import gc

BETWEEN_LOOKS = 10_000
"""Objects that may come before the young ones are looked at. A start makes hundreds of thousands that all stay: at the
interpreter's own 700, the looks are a tenth of it, and find nothing."""


def look_seldom() -> None:
    """To be called first thing in a process. At its end everything goes at once: the interpreter's last look at all of
    it would take longer than a light command."""
    gc.set_threshold(BETWEEN_LOOKS)
    atexit.register(gc.freeze)


def let_stand() -> None:
    """To be called when a process is ready to serve: what it has made by then stays, and is never looked at again. A
    look at all of it would keep those who wait for an answer waiting for a tenth of a second."""
    gc.collect()
    gc.freeze()
