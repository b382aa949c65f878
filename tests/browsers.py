"""Where the browser is that the room's tests drive, and how it is started."""

from __future__ import annotations

import functools
import os
import shutil
from typing import Any

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESK, PHONE = {"width": 1280, "height": 860}, {"width": 390, "height": 844}
LOOKS: dict[str, dict[str, Any]] = {
    "desk": {"viewport": DESK},
    "phone": {"viewport": PHONE},
    "dark": {"viewport": DESK, "color_scheme": "dark"},
    "zoomed": {"viewport": {"width": 640, "height": 400}, "device_scale_factor": 2},
    "forced": {"viewport": DESK, "forced_colors": "active"},
}
"""How the page is looked at; twice the size on a desk is half the width."""
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


@functools.cache
def chromium() -> str | None:
    """The path of an installed Chromium, or None. COLDFRAME_CHROMIUM names one that is not on the PATH."""
    named = os.environ.get("COLDFRAME_CHROMIUM")
    return named or next((path for path in map(shutil.which, NAMES) if path), None)
