"""Files that nobody but their owner may read, whatever the umask says."""

from __future__ import annotations

import os
from pathlib import Path

MINE = 0o600


def keep_private(path: Path) -> None:
    """Makes the file if it is not there, and takes every right of others from it and what a database puts beside it."""
    if not path.exists():
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, MINE))
    for file in (path, *(path.with_name(path.name + end) for end in ("-wal", "-shm"))):
        if file.exists():
            file.chmod(MINE)  # not by a handle: closing one would free the locks that this process has on a database


def on_the_disk(folder: Path) -> None:
    """What was named anew in the folder is so after a power cut, too."""
    handle = os.open(folder.absolute(), os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
