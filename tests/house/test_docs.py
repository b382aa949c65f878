"""What stands in the documents is true: commands are there, pages are the printed ones, links lead somewhere, examples
give what they say."""

from __future__ import annotations

import doctest
import importlib.util
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from coldframe.cli import State, coldframe
from coldframe.cli.manual import PAGES, REFERENCE
from coldframe.engine.uses import USES
from coldframe.speech import person_guides
from coldframe.speech.panel_words import HELP
from demo.main import command as demo
from tests import figures, stages

TOP = Path(__file__).resolve().parents[2]
DOCUMENTS = sorted([*TOP.glob("*.md"), *TOP.glob("deploy/**/*.md")])
FENCED = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
HARMLESS = ("completion", "manual", "settings", "size", "slack-manifest")
"""Verbs that only print."""


def names(path: Path) -> str:
    return path.relative_to(TOP).as_posix()


def typed(path: Path) -> Iterator[str]:
    """Every line that a reader could type: of code between fences, and code within a sentence."""
    text = path.read_text(encoding="utf-8")
    for language, code in FENCED.findall(text):
        if language not in ("text", "pycon", "mermaid"):
            yield from code.splitlines()
    for span in re.findall(r"`([^`]+)`", FENCED.sub("", text)):
        yield " ".join(span.split())


def commands(path: Path, pattern: str) -> list[str]:
    """What follows the pattern in each of them, without what a shell does with it."""
    found = (re.search(rf"(?:^|\s|/|\")(?:{pattern})(?= |$)(?! [a-z]+ is)(.*)", line) for line in typed(path))
    return [re.split(r"\s[#&|>]|\s\s|[)\"]", match[1])[0].strip() for match in found if match]


EXAMPLES = sorted({(names(path), line) for path in DOCUMENTS for line in commands(path, r"(?<!/)coldframe")})


def test_examples_are_found() -> None:
    """A reader of the documents that finds none would find no fault either."""
    assert len(EXAMPLES) > 30 and any("--baseline" in line for _, line in EXAMPLES)


@pytest.mark.parametrize(("document", "line"), EXAMPLES, ids=lambda one: one.replace("/", "_"))
def test_every_command_can_be_given(document: str, line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As it stands, with every file that it names; what only prints is run."""
    monkeypatch.chdir(tmp_path)
    words = shlex.split(line)
    if not words or "…" in line or words[0].isupper() or words[0].startswith("-"):  # of other programs, too
        return
    for word in words[1:]:
        if "/" not in word and (word.isupper() or "." in word):
            (tmp_path / word).mkdir() if "FOLDER" in word else (tmp_path / word).touch()
    context, command = click.Context(coldframe), coldframe.get_command(click.Context(coldframe), words[0])
    assert command is not None, f"{document}: there is no command {words[0]}"
    rest = words[1:]
    while isinstance(command, click.Group) and rest and not rest[0].startswith("-"):
        command, rest = command.commands[rest[0]], rest[1:]
    if rest and "--help" not in rest:
        command.make_context(words[0], list(rest), context)
    if words[0] in HARMLESS and len(words) > 1:
        done = CliRunner().invoke(coldframe, words, obj=State())
        assert done.exit_code == 0, f"{document}: {line}: {done.output}"


@pytest.mark.parametrize("path", DOCUMENTS, ids=names)
def test_the_two_commands_take_what_they_are_given(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Options of the demo; of the tests their stages with the names of benchmarks that there are."""
    monkeypatch.chdir(tmp_path)
    for line in commands(path, r"python3 demo"):
        demo.make_context("demo", shlex.split(line))
    for line in commands(path, r"python3 tests"):
        first, *rest = [*shlex.split(line.replace("[", "").replace("]", "")), ""]
        assert first in stages.STAGES or first == "-k", f"{names(path)}: {line}"
        modules = {"--bench": stages.BENCHES, "--chaos": stages.CHAOS, "--studies": stages.STUDIES}
        named = {word for word in rest if word[:1].isalpha()} - {"NAME", "..."}
        assert first not in modules or named <= {*modules[first]}, line
    for module in re.findall(r"-m (tests\.[a-z_.]+)", path.read_text(encoding="utf-8")):
        assert importlib.util.find_spec(module) is not None, f"{names(path)}: {module}"


@pytest.mark.parametrize("path", DOCUMENTS, ids=names)
def test_every_word_in_the_chat_is_understood(path: Path) -> None:
    """Also those of the pages for each person, which the bot says itself."""
    said = {line.split()[0] for line in commands(path, r"/coldframe") if line and not line.startswith("@")}
    assert {word for word in said if not word.isupper()} <= USES.words.keys() | {"…"}, names(path)


@pytest.mark.parametrize("path", DOCUMENTS, ids=names)
def test_every_link_leads_somewhere(path: Path) -> None:
    for target in re.findall(r"\]\((?!https?:|#)([^)#\s]+)", path.read_text(encoding="utf-8")):
        assert (path.parent / target).exists(), f"{names(path)}: {target}"


# --- pages that are made ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_what_the_command_prints(page: str) -> None:
    """`coldframe manual PAGE > FILE` makes it anew."""
    kept = TOP / "deploy" / ("REFERENCE.md" if page == REFERENCE else f"guide/{page}.md")
    printed = CliRunner().invoke(coldframe, ["manual", page], obj=State()).output
    anew = f"make it anew: .venv/bin/coldframe manual {page} > {names(kept)}"
    assert printed.splitlines() == kept.read_text(encoding="utf-8").splitlines(), anew


def test_the_manual_lists_its_pages() -> None:
    assert CliRunner().invoke(coldframe, ["manual"], obj=State()).output.split() == list(PAGES)


def test_the_help_names_every_word() -> None:
    """But itself, and what only repeats a button."""
    named = set(re.findall(r"`(?:/coldframe )?([a-z]+)", " ".join(word for word, _ in HELP)))
    assert USES.words.keys() - named <= {"help", "add"}


def test_every_person_of_a_round_has_a_page() -> None:
    """Readable in two minutes, at 200 words each."""
    assert all(len(person_guides.markdown(person).split()) <= 400 for person in person_guides.PERSONS)


# --- numbers ----------------------------------------------------------------------------------------------------------

NUMBERS = TOP / "deploy" / "NUMBERS.md"


def test_every_module_that_computes_has_its_row() -> None:
    """And every row names modules and tests that there are."""
    text, package = NUMBERS.read_text(encoding="utf-8"), TOP / "bot" / "coldframe"
    named = set(re.findall(r"`((?:analysis|domain)/[a-z_/]+)`", text))
    there = {f"analysis/{path.stem}" for path in package.glob("analysis/*") if path.suffix in ("", ".py")}
    assert named >= there - {"analysis/__init__", "analysis/__pycache__"}
    assert all((package / one).is_dir() or (package / f"{one}.py").is_file() for one in named)
    assert all((TOP / one).is_file() for one in re.findall(r"`(tests/[a-z_/]+\.py)`", text))
    rows = [
        line for line in text.splitlines() if line.startswith("| ") and "---" not in line and "computed in" not in line
    ]
    assert [row for row in rows if "`tests/" not in row] == []


def test_what_was_measured_stands_in_the_page_on_running_it() -> None:
    """As the last run of the benchmarks left it, each figure that has one beside its floor."""
    page = (TOP / "deploy" / "RUNNING.md").read_text(encoding="utf-8")
    first, last = figures.MARKS
    assert first + page.partition(first)[2].partition(last)[0] + last == figures.block()
    _, found = figures.read()
    assert {figure.bench for figure in found} <= set(stages.BENCHES)
    assert all(figure.floor for figure in found if figure.unit == "ms")


def test_its_examples_give_what_stands_below_them() -> None:
    text = "\n".join(
        code for language, code in FENCED.findall(NUMBERS.read_text(encoding="utf-8")) if language == "pycon"
    )
    examples = doctest.DocTestParser().get_doctest(text, {}, NUMBERS.name, None, 0)
    told: list[str] = []
    failed, tried = doctest.DocTestRunner().run(examples, out=told.append)
    assert (failed, tried > 8) == (0, True), "".join(told)


def test_what_the_guide_names_in_a_file_stands_there() -> None:
    """Whoever is new follows it to the letter: each "`NAME` of `FILE`" is true, in the house or beside it."""
    text = " ".join((TOP / "DEVELOPERS.md").read_text(encoding="utf-8").split())
    named = re.findall(r"`(\w+)` (?:of|in) `([\w/]+\.(?:py|json))`", text)
    assert len(named) > 20
    assert [(name, file) for name, file in named if not re.search(rf"\b{name}\b", _in_the_house(file))] == []


def _in_the_house(file: str) -> str:
    there = (place / file for place in (TOP, TOP / "bot" / "coldframe"))
    return next((one.read_text(encoding="utf-8") for one in there if one.is_file()), "")
