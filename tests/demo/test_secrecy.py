"""What was given in confidence is nowhere to be read before its moment: in no message, and in no file."""

from __future__ import annotations

import contextlib
import pickle
import re
from collections.abc import Callable
from pathlib import Path
from typing import cast

import pytest

from coldframe.domain.names import Step
from coldframe.engine.core import lives
from coldframe.players.scenario import Note, Plan, Scenario
from demo.play import Play
from tests.demo.main_scenario import COUNTS, REVEALS, MainPlay, whole_text
from tests.demo.runs import Played, play, scenario
from tests.shared import finished, once

COUNTED = re.compile(r"The (dots are|ballot is) counted")


def test_no_message_holds_a_note_a_plan_or_a_vote_before_its_reveal(main_play: MainPlay) -> None:
    """Looked at after every moment: others' texts appear only once the round has passed the step that reveals them."""
    assert main_play.revealed == REVEALS.keys()
    assert main_play.leaks == []
    assert main_play.played.round is not None and main_play.played.round.step is Step.COMMITTED


def test_the_bots_private_messages_keep_nothing_private_after_a_reveal_or_count(main_play: MainPlay) -> None:
    """Notes, plans, dots, votes, comparisons and forecasts are gone from what stood there before, right after it."""
    assert main_play.left == {what: [] for what in COUNTS}


def test_what_the_bot_told_somebody_before_the_seal_says_nothing_of_what_was_given(main_play: MainPlay) -> None:
    """At the end of all trials, every message from before the seal is searched for all texts of notes and plans; what
    people wrote themselves is theirs, and what was left open is offered to the facilitator for the next round."""
    chosen, records = main_play.played.scenario, main_play.played.records
    given = [n.text for n in chosen.notes] + [t for p in chosen.plans for t in (p.hypothesis, *p.steps)]
    sealed = min(r.at for r in records if COUNTS["commitment"] in whole_text(r))
    private = [whole_text(r) for r in records if r.by_bot and r.place.kind == "direct" and r.at < sealed]
    assert len(private) > 50
    assert [secret for secret in given if any(secret in said for said in private)] == []


RECORDS = {
    *("opened", "reveal", "lever", "focus", "merged", "result", "plans", "plan", "sizes", "precedent", "extended"),
    *("paused", "resumed", "cancelled", "role", "committed", "moved", "leftovers", "announced", "passed"),
    *("started", "live", "dropped", "decided", "owner", "fears", "signed", "closed", "calibration", "stopped", ""),
    "settled",
    "report",
    *(
        "passed",
        "announced",
        "closed unread",
        "facilitates",
        "departed",
        "reworded",
        "deadline",
        "reopened",
        "late asked",
        "readback",
    ),
}
"""Messages that stay as they are: they offer nothing that ends, and hold nothing private."""


def test_every_message_of_a_played_round_has_its_life_in_the_table(main_play: MainPlay) -> None:
    """Or is a record by a decision; a new kind of message needs one or the other."""
    found = {lives.named(name) for name in main_play.names}
    unknown = {name.what for name in found if not lives.may_end(name.pack())} - RECORDS
    assert unknown == set()
    assert {"ask", "ballot", "option", "desk", "compare", "yours", "verdict"} <= {name.what for name in found}


def test_no_button_of_a_closed_step_stands_anywhere(main_play: MainPlay) -> None:
    """Looked at after every moment, in every conversation: 97 stood in a single private one."""
    assert main_play.offered == []


async def test_the_database_file_holds_no_private_text_before_the_reveal(tmp_path: Path) -> None:
    """Notes and plans are sealed at rest: their words are not in the file, nor in its write-ahead log."""
    chosen: Scenario = scenario("three-people")
    secrets = [n.text for n in chosen.notes] + [t for p in chosen.plans for t in (p.title, p.hypothesis, *p.steps)]
    checked: set[str] = set()
    found: list[str] = []

    def watch(playing: Play) -> None:
        channel = "\n".join(whole_text(r) for r in playing.house.room.all_messages() if r.place.kind == "channel")
        raw = b"".join(p.read_bytes() for p in tmp_path.glob("bot.db*"))
        for secret in secrets:
            if secret not in channel:
                checked.add(secret)
                found.extend([secret] if secret.encode() in raw else [])

    await play(chosen, tmp_path, watch)
    assert checked == set(secrets)
    assert found == []


def test_who_voted_for_what_is_in_no_message(small_play: Played) -> None:
    """No message to anybody else names a voter beside what they chose; results carry totals only."""
    results = [r for r in small_play.records if r.place.kind == "channel" and COUNTED.match(whole_text(r))]
    assert len(results) == 2
    for record in results:
        assert not any(re.search(rf"\b{person.name}\b", whole_text(record)) for person in small_play.scenario.team)


# What one person gives in confidence, given differently; and the words with which it is revealed or counted.
Change = Callable[[Scenario], dict[str, object]]
View = list[tuple[str, str]]
OTHERWISE: dict[str, tuple[str, Change, str]] = {
    "notes": ("bo", lambda s: {"notes": [_said_otherwise(n, "bo") for n in s.notes]}, "The reveal."),
    "dots": ("bo", lambda s: {"dots": {**s.dots, "bo": ["no-pause", "no-pause", "early"]}}, "The dots are counted"),
    "plans": ("cleo", lambda s: {"plans": [_planned_otherwise(p, "cleo") for p in s.plans]}, "unsigned and shuffled"),
    "ballot": ("bo", lambda s: {"ballot": {**s.ballot, "bo": ["later", "later"]}}, "The ballot is counted"),
}


def _said_otherwise(note: Note, who: str) -> Note:
    return note.model_copy(update={"text": f"{note.text[::-1]}"}) if note.by == who else note


def _planned_otherwise(plan: Plan, who: str) -> Plan:
    return plan.model_copy(update={"title": plan.title[::-1], "steps": ["Other"]}) if plan.by == who else plan


class Enough(Exception):
    """Nothing that comes after is looked at."""


async def _views(chosen: Scenario, folder: Path, marker: str) -> list[View]:
    """What stands in the room after each moment, until the words have been said there."""
    seen: list[View] = []

    def watch(playing: Play) -> None:
        records = playing.house.room.all_messages()
        seen.append([(r.place.id, f"{r.at} {r.place.id} {r.author} {whole_text(r)}") for r in records])
        if any(marker in line for _, line in seen[-1]):
            raise Enough

    with contextlib.suppress(Enough):
        await play(chosen, folder, watch)
    return seen


@pytest.fixture(scope="session")
def base_views(tmp_path_factory: pytest.TempPathFactory) -> list[View]:
    """The views of the round with which the others are compared."""

    def make(folder: Path) -> None:
        (folder / "views.pickle").write_bytes(pickle.dumps(finished(_views(_base(), folder, "The ballot is counted"))))

    made = once(tmp_path_factory, "base-views", make)
    return cast(list[View], pickle.loads((made / "views.pickle").read_bytes()))


def _base() -> Scenario:
    """The same number of votes on each of as many options: the same moments."""
    small = scenario("three-people")
    return small.model_copy(update={"dots": {**small.dots, "bo": ["early", "early", "no-pause"]}})


def _around(views: list[View], who: str, marker: str) -> tuple[list[str], list[str]]:
    """What all but this person read right before the words were said, and right after."""
    others = [[line for place, line in view if place != who] for view in views]
    said = next(n for n, lines in enumerate(others) if any(marker in line for line in lines))
    return others[said - 1], others[said]


@pytest.mark.parametrize("what", OTHERWISE)
async def test_what_others_read_before_does_not_depend_on_what_one_gave(
    what: str, base_views: list[View], tmp_path: Path
) -> None:
    """Two rounds that differ in one person's input only read alike, to the letter, for all others until it is out."""
    who, change, marker = OTHERWISE[what]
    changed = await _views(_base().model_copy(update=change(_base())), tmp_path, marker)
    (before, after), (before_changed, after_changed) = (_around(v, who, marker) for v in (base_views, changed))
    assert before == before_changed
    assert after != after_changed, "the change must show once it is out, or this would compare nothing"
