"""How long to wait before something that failed is tried again."""

from __future__ import annotations

import hashlib
from datetime import timedelta

FIRST, MAX_PAUSE = timedelta(seconds=2), timedelta(minutes=10)
MIN_PAUSE = timedelta(seconds=0.5)
DOUBLINGS = 9  # from the first to beyond MAX_PAUSE


def pause(tries: int, salt: str) -> timedelta:
    """Twice as long after each try, up to the longest, with full jitter: what failed together does not come again
    together. The jitter follows from the salt, so that a repeated run waits alike."""
    most: timedelta = min(MAX_PAUSE, FIRST * 2 ** min(tries, DOUBLINGS))
    spread = int(hashlib.sha256(f"{salt}/{tries}".encode()).hexdigest()[:8], 16) / 0xFFFFFFFF
    return max(MIN_PAUSE, most * spread)
