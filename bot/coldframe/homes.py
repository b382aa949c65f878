"""Where data stands when nothing says where: a folder of the user's own, the same from wherever the bot is started."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_data_path

NAME = "coldframe"


def home() -> Path:
    """By the convention of the system, on Linux that of the XDG base directories. It need not be there."""
    return user_data_path(NAME, appauthor=False)


def kept(name: str, earlier: str) -> Path:
    """The place of this name at home; or, while home has none, the place in the current folder in which earlier
    releases kept it, so that nobody's rounds are gone."""
    at_home, here = home() / name, Path(earlier).absolute()
    return here if here.exists() and not at_home.exists() else at_home


def make_ready(place: Path) -> None:
    """The folder of our own is made at need, for its owner alone; anybody else's is theirs to make."""
    if home() in (place, place.parent):
        home().mkdir(mode=0o700, parents=True, exist_ok=True)
