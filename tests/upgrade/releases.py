"""The code of an earlier release, as the history of this repository has it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

TOP = Path(__file__).parents[2]
BEFORE = "a27b41eb"
"""The first whose replicas leave alone what a newer one knows more; a release takes its place once it is out."""
OF_TODAY = ("tests/faults/replica.py",)
"""How a process is spoken to is not the release's."""


def is_there(commit: str) -> bool:
    """Whether the history reaches so far back; a shallow clone's does not."""
    asked = ["git", "cat-file", "-e", f"{commit}^{{commit}}"]
    try:
        return subprocess.run(asked, cwd=TOP, capture_output=True).returncode == 0
    except OSError:
        return False


def code_of(commit: str, folder: Path) -> Path:
    """Its bot and its tests, in a folder of their own."""
    home, packed = folder / commit, folder / f"{commit}.tar"
    subprocess.run(["git", "archive", "--output", str(packed), commit, "bot", "tests", "demo"], cwd=TOP, check=True)
    shutil.unpack_archive(packed, home, filter="data")
    for name in OF_TODAY:
        shutil.copy(TOP / name, home / name)
    return home
