"""Where the browser is that the room's tests drive, and how it is started."""

from __future__ import annotations

import functools
import os
import shutil

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


@functools.cache
def chromium() -> str | None:
    """The path of an installed Chromium, or None. COLDFRAME_CHROMIUM names one that is not on the PATH."""
    named = os.environ.get("COLDFRAME_CHROMIUM")
    return named or next((path for path in map(shutil.which, NAMES) if path), None)
