"""The report of a round, a trial and a year: what stands in it, what never does, and who may have one."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import AsyncIterator
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.message.nodes import plain
from coldframe.message.packed import ButtonValue
from coldframe.wiring import secret_from
from tests.domain.play import D, F
from tests.engine.seeing_through import CHANNEL, Team, a_team

TOP = Path(__file__).resolve().parents[3]
SECRET = "a passphrase for tests"
HOUR = timedelta(hours=1)
GOOD = "control 400/80, trial 400/100"


@pytest.fixture
async def team(tmp_path: Path) -> AsyncIterator[Team]:
    async with a_team(tmp_path, chances={D: 40, F: 60}, fears=("canary fear",)) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, f"week 1: {GOOD}")
        yield team


async def _page(team: Team, person: str, what: str, which: str) -> str:
    """By the word and the button that it shows; what comes in private."""
    await team.command(person, "report")
    reply = await team.press(person, "report.make", ButtonValue(CHANNEL, (what, which)).pack())
    assert reply.note is not None
    await team.settle()
    log = team.house.room.log
    records = log.messages(team.house.room.direct(person))
    (*_, name) = (f.id for r in records for f in r.files if f.name.endswith(".html"))
    found = log.file(name)
    assert found is not None
    return found[2].decode()


def _text(page: str) -> str:
    """What is read: without tags, and as one line."""
    return " ".join(re.sub(r"<[^>]*>", " ", page.partition("<body>")[2]).split())


async def test_a_round_from_its_question_to_what_was_tried(team: Team) -> None:
    """Notes, forces, questions, plans, commitment and the trial with its picture, each as the channel saw it."""
    page = await _page(team, F, "round", team.round.id)
    for part in ("Notes", "Forces", "Questions", "Plans", "Commitment", "Trial: Title of p0", "Week by week"):
        assert f">{part}" in page or f"{part}</h" in page or part in _text(page), part
    round_ = await team.current()
    for text in (round_.settings.question, *(round_.notes[n].text for n in round_.revealed), "400"):
        assert text in _text(page), text
    assert page.count("data:image/png;base64,") >= 3


async def test_nothing_private_is_in_it(team: Team) -> None:
    """Fears and learnings of too few, forecasts by person, who wrote a plan: none of it was ever in the channel."""
    await team.fill(F, "trial.learn", {"text": "canary learning"})
    for what, which in (("round", team.round.id), ("trial", f"{team.round.id}-p0"), ("year", "2026")):
        page = await _page(team, F, what, which)
        assert "canary" not in page
        assert "40%" not in _text(page) and "60%" not in _text(page)


async def test_what_is_not_revealed_yet_is_not_in_it(tmp_path: Path) -> None:
    """While notes are written nobody reads one, in a report neither."""
    async with a_team(tmp_path, sealed=False, step=Step.NOTES) as team:
        await team.say(D, "- retention: canary note")
        assert [note.text for note in (await team.current()).notes.values()].count("canary note") == 1
        page = await _page(team, F, "round", team.round.id)
        assert "canary" not in page and "Notes, not over yet" in page


async def test_a_trial_and_a_year(team: Team) -> None:
    page = _text(await _page(team, D, "trial", f"{team.round.id}-p0"))
    assert "We expected" in page and "Live since" in page and "week 1, Mon 2 to Sun 8 March" in page
    year = _text(await _page(team, D, "year", "2026"))
    assert "one trial" in year and "Title of p0" in year and team.round.name in year


@pytest.mark.parametrize(
    ("what", "which"),
    [("round", "another"), ("trial", "another"), ("year", "soon"), ("year", "12345"), ("person", "dora"), ("", "")],
)
async def test_what_is_made_up_is_refused_and_nothing_is_made(team: Team, what: str, which: str) -> None:
    value = ButtonValue(CHANNEL, (what, which)).pack()
    reply = await team.house.room.press(F, None, "report.make", value, forged=True)
    await team.settle()
    assert reply.note is None or "in our direct messages" not in plain(reply.note.summary)
    assert not [r for r in team.house.room.all_messages() if any(f.name.endswith(".html") for f in r.files)]


async def test_the_digest_leads_to_it(team: Team) -> None:
    await team.command(F, "digest", channel=False)
    await team.press(F, "report.show", CHANNEL)
    assert "One page to print" in team.told(F)[-1]
    labels = [b.label for b in _buttons(team)]
    assert labels[0].startswith("Round: ") and any(label.startswith("Trial: Title of p0") for label in labels)


def _buttons(team: Team) -> list[object]:
    cards = team._cards(F)
    return [b for _, m in cards[:1] for block in m.blocks for b in getattr(block, "buttons", ())]


# --- the command ----------------------------------------------------------------------------------------------------


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    settings = {"COLDFRAME_DATABASE": f"sqlite:///{folder / 'bot.db'}", "COLDFRAME_SECRET": SECRET}
    environment = {**os.environ, **settings, "PYTHONPATH": str(TOP / "bot")}
    command = [sys.executable, "-m", "coldframe", "report", *words]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)


async def test_the_command_writes_the_page_and_says_what_it_can_be_of(tmp_path: Path) -> None:
    """Beside a running bot's database; what fits nothing is told with what there is."""
    async with a_team(tmp_path, secret=secret_from(SECRET)) as team:
        await team.weeks(1, at=HOUR)
        await team.say(D, f"week 1: {GOOD}")
    done = run(tmp_path, "--trial", "of p0", "--out", "trial.html")
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "trial.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>") and "Title of p0" in page and "data:image/png;base64,iVBOR" in page
    wrong = run(tmp_path, "--trial", "nobody's")
    assert wrong.returncode == 2 and "nothing fits; there are: Title of p0" in wrong.stderr
    assert not (tmp_path / "report.html").exists()
    both = run(tmp_path, "--trial", "x", "--year", "2026")
    assert both.returncode == 2 and "one of --round, --trial and --year" in both.stderr
