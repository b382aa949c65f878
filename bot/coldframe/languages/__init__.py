"""The language that the bot speaks: one for an installation, chosen before the first sentence is needed.

English is `coldframe.speech` itself. Another language is a folder in here, named by its code, with modules of the same
names as in `speech`. Whatever imports `coldframe.speech` gets them; a module that the language does not have yet stays
English.
"""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

from coldframe.errors import WRONG, ColdframeError

HERE = Path(__file__).parent
ENGLISH = "en"
SPEECH = "coldframe.speech"


class UnknownLanguage(ColdframeError):
    """There is no such language."""

    status = WRONG


class TooLate(ColdframeError):
    """Sentences were imported before their language was chosen; choose it first."""


def spoken(folder: Path = HERE) -> list[str]:
    """Codes of the languages that there are."""
    return [ENGLISH, *sorted(one.name for one in folder.iterdir() if one.is_dir() and not one.name.startswith("_"))]


def speak(language: str, folder: Path = HERE) -> None:
    """Call it before anything imports a module of `speech`. Raises UnknownLanguage and TooLate."""
    if language not in spoken(folder):
        raise UnknownLanguage(f"no language {language!r}; there is {', '.join(spoken(folder))}")
    if language == ENGLISH or str(folder / language) in import_module(SPEECH).__path__:
        return
    if any(name.startswith(f"{SPEECH}.") for name in sys.modules):
        raise TooLate
    for wing in (Path(), *(one.relative_to(folder / language) for one in (folder / language).glob("*/"))):
        package = import_module(".".join((SPEECH, *wing.parts)))
        package.__path__.insert(0, str(folder / language / wing))
