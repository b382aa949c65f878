"""Another language is a folder beside English, with modules that offer the same and take the same."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from coldframe import speech
from coldframe.languages import ENGLISH, HERE, UnknownLanguage, speak, spoken

IN_ENGLISH = Path(speech.__path__[-1])
NAME_IN_BRACES = re.compile(r"\{(\w+)\}")


def differences(language: Path) -> list[str]:
    """Where the modules of a language are not like English: `round/cards.py: paused`."""
    found = []
    for file in sorted(language.rglob("*.py")):
        name = file.relative_to(language)
        other = IN_ENGLISH / name
        english = _offered(other) if other.exists() else {}
        own = _offered(file)
        found += [f"{name}: {one}" for one in sorted(english.keys() | own.keys()) if english.get(one) != own.get(one)]
    return found


def _offered(file: Path) -> dict[str, str]:
    """All that a module names, with what must be the same in every language: arguments, keys, names in braces."""
    body = ast.parse(file.read_text(encoding="utf-8")).body
    return {name: _kept(node) for node in body for name in _names(node) if not name.startswith("__")}


def _names(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        return [node.name]
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return [one.id for one in targets if isinstance(one, ast.Name)]


def _kept(node: ast.stmt) -> str:
    inside = list(ast.walk(node))
    words = [one.value for one in inside if isinstance(one, ast.Constant) and isinstance(one.value, str)]
    named = sorted({name for one in words for name in NAME_IN_BRACES.findall(one)})
    keys = [ast.dump(key) for one in inside if isinstance(one, ast.Dict) for key in one.keys if key is not None]
    return f"{ast.dump(node.args) if isinstance(node, ast.FunctionDef) else ''} {keys} {named}"


@pytest.fixture
def languages(tmp_path: Path) -> Path:
    """A folder of languages with one that has a single module, English but for one word."""
    (tmp_path / "xx").mkdir()
    words = (IN_ENGLISH / "names.py").read_text(encoding="utf-8").replace('"driving"', '"treibend"')
    (tmp_path / "xx" / "names.py").write_text(words, encoding="utf-8")
    return tmp_path


def test_every_language_is_like_english() -> None:
    """What a language has takes the same arguments, has the same keys, and names the same parts."""
    assert {one: found for one in spoken() if one != ENGLISH and (found := differences(HERE / one))} == {}


@pytest.mark.parametrize(
    ("before", "after", "what"),
    [
        ('"driving"', '"treibend"', ""),
        ("def who(round_: Round, member: str", "def who(round_: Round, somebody: str", "names.py: who"),
        ("def label(", "def labels(", "names.py: label"),
        ("{name}", "{nom}", "names.py: label"),
        ("Side.DRIVING: ", "Side.RESTRAINING: ", "names.py: SIDES"),
    ],
)
def test_what_is_not_like_english_is_named(languages: Path, before: str, after: str, what: str) -> None:
    """A missing name, another argument, key or part is told by module and name; other words are what it is for."""
    module = languages / "xx" / "names.py"
    module.write_text((IN_ENGLISH / "names.py").read_text(encoding="utf-8").replace(before, after), encoding="utf-8")
    found = differences(languages / "xx")
    assert (what in found) if what else (found == [])


def _said(languages: Path, before: str = "") -> subprocess.CompletedProcess[str]:
    code = (
        f"import sys; from pathlib import Path; from coldframe.languages import speak; {before}"
        "speak('xx', Path(sys.argv[1])); from coldframe.speech.names import SIDES;"
        "from coldframe.speech.round import cards; print(*SIDES.values())"
    )
    return subprocess.run([sys.executable, "-c", code, str(languages)], capture_output=True, text=True)


def test_the_bot_speaks_the_language_that_was_chosen(languages: Path) -> None:
    """All that imports a module of speech gets the chosen language's, and English where there is none yet."""
    done = _said(languages)
    assert done.stdout.split() == ["treibend", "restraining"], done.stderr


def test_a_language_is_not_chosen_too_late(languages: Path) -> None:
    """Sentences that were imported before would stay English, so it is refused."""
    assert "TooLate" in _said(languages, "import coldframe.speech.answers; ").stderr


def test_a_language_that_there_is_not_is_refused(languages: Path) -> None:
    """The refusal names those that there are."""
    with pytest.raises(UnknownLanguage, match="'qq'; there is en, xx"):
        speak("qq", languages)
