"""Where data stands when nothing says where: a folder of the user's own, the same from wherever the bot is started."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path

from coldframe.errors import ColdframeError

NAME = "coldframe"


def home() -> Path:
    """By the convention of the system, on Linux that of the XDG base directories. It need not be there."""
    return user_data_path(NAME, appauthor=False)


def kept(name: str, earlier: str) -> Path:
    """The place of this name at home; or, while home has none, the place in the current folder in which earlier
    releases kept it, so that nobody's rounds are gone."""
    at_home, here = home() / name, Path(earlier).absolute()
    return here if here.exists() and not at_home.exists() else at_home


class NotToBeWritten(ColdframeError, OSError):
    """The folder in which everything is to be kept cannot be made, or nothing be written in it."""


def make_ready(place: Path, named: str) -> None:
    """The folder of our own is made at need, for its owner alone; anybody else's is theirs to make. `named`: the
    setting or option by which the place is another. Raises NotToBeWritten."""
    if home() in (place, place.parent):
        make(home(), named)


def make(folder: Path, named: str) -> None:
    """For its owner alone. Raises NotToBeWritten."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as problem:
        raise NotToBeWritten(f"{folder} cannot be made ({problem.strerror}); {named} names another place") from None
    to_be_written(folder, named)


def to_be_written(folder: Path, named: str) -> None:
    """Raises NotToBeWritten."""
    if not os.access(folder, os.W_OK | os.X_OK, effective_ids=os.access in os.supports_effective_ids):
        raise NotToBeWritten(f"nothing can be written in {folder} by this account; {named} names another place")
