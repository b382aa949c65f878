"""Another language is a folder beside English, with the same functions in it."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from coldframe import languages, speech
from coldframe.languages import ENGLISH, HERE, UnknownLanguage, speak, spoken


def differences(language: Path) -> list[str]:
    """What a language lacks of English, has beyond it, or takes with other arguments: `round/cards.py: paused`."""
    english, other = (_functions(one) for one in (Path(speech.__path__[0]), language))
    return sorted(name for name in english.keys() | other.keys() if english.get(name) != other.get(name))


def _functions(folder: Path) -> dict[str, str]:
    """Name and arguments of all that the modules of a folder offer."""
    return {
        f"{file.relative_to(folder)}: {one.name}": ast.dump(one.args)
        for file in sorted(folder.rglob("*.py"))
        for one in ast.parse(file.read_text(encoding="utf-8")).body
        if isinstance(one, ast.FunctionDef) and not one.name.startswith("_")
    }


@pytest.fixture
def another(tmp_path: Path) -> Path:
    """A folder of languages with one that is English but for one word."""
    shutil.copytree(Path(speech.__path__[0]), tmp_path / "xx", ignore=shutil.ignore_patterns("__pycache__"))
    names = tmp_path / "xx" / "names.py"
    names.write_text(names.read_text(encoding="utf-8").replace('"driving"', '"treibend"'), encoding="utf-8")
    return tmp_path


def test_every_language_has_every_sentence() -> None:
    """No function of English is missing in another language, and each takes the same arguments."""
    assert [(one, differences(HERE / one)) for one in spoken() if one != ENGLISH and differences(HERE / one)] == []


def test_what_a_language_lacks_is_named(another: Path) -> None:
    """A translation that was left half done says which functions are missing or take other arguments."""
    assert differences(another / "xx") == []
    answers = another / "xx" / "answers.py"
    answers.write_text(answers.read_text(encoding="utf-8") + "\n\ndef one_more() -> None: ...\n", encoding="utf-8")
    (another / "xx" / "surface.py").write_text('"""Nothing yet."""\n', encoding="utf-8")
    found = differences(another / "xx")
    assert "answers.py: one_more" in found
    assert any(name.startswith("surface.py: ") for name in found)


def test_the_bot_speaks_the_language_that_was_chosen(another: Path) -> None:
    """All that imports a module of speech gets the chosen language's."""
    code = (
        "import sys; from pathlib import Path; from coldframe.languages import speak; speak('xx', Path(sys.argv[1]));"
        "from coldframe.speech.names import SIDES; print(*SIDES.values())"
    )
    done = subprocess.run([sys.executable, "-c", code, str(another)], capture_output=True, text=True)
    assert done.stdout.split() == ["treibend", "restraining"], done.stderr


def test_a_language_that_there_is_not_is_refused(another: Path) -> None:
    """The refusal names those that there are."""
    with pytest.raises(UnknownLanguage, match="'qq'; there is en, xx"):
        speak("qq", another)
    assert languages.spoken()[0] == ENGLISH
