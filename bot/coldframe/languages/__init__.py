"""The language that the bot speaks: one for an installation, chosen before the first sentence is needed.

English is `coldframe.speech` itself. Another language is a folder in here, named by its code, with the same modules and
the same functions as `speech`; whatever imports `coldframe.speech` then gets its sentences from there.
"""

from __future__ import annotations

from pathlib import Path

from coldframe import speech
from coldframe.errors import ColdframeError

HERE = Path(__file__).parent
ENGLISH = "en"


class UnknownLanguage(ColdframeError):
    """There is no such language."""


def spoken(folder: Path = HERE) -> list[str]:
    """Codes of the languages that there are."""
    return [ENGLISH, *sorted(one.name for one in folder.iterdir() if one.is_dir() and one.name.isalpha())]


def speak(language: str, folder: Path = HERE) -> None:
    """Call it before anything imports a module of `speech`. Raises UnknownLanguage."""
    if language not in spoken(folder):
        raise UnknownLanguage(f"no language {language!r}; there is {', '.join(spoken(folder))}")
    if language != ENGLISH:
        speech.__path__ = [str(folder / language)]
