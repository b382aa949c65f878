"""Folders that are closed, although the tests may run as root, who writes everywhere."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

NOBODY = 65534


@contextmanager
def unprivileged() -> Iterator[None]:
    """Root becomes nobody for a moment, and whoever else it is stays so."""
    if os.geteuid():
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
