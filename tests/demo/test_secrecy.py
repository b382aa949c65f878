"""What was given in confidence is nowhere to be read before its moment: in no message, and in no file."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from coldframe.domain.names import Step

from demo.play import Play
from demo.scenario import Note, Plan, Scenario
from tests.demo.main_scenario import REVEALS, MainPlay, whole_text
from tests.demo.runs import play, scenario

COUNTED = re.compile(r"The (dots are|ballot is) counted")


def test_no_message_holds_a_note_a_plan_or_a_vote_before_its_reveal(main_play: MainPlay) -> None:
    """Looked at after every moment: others' texts appear only once the round has passed the step that reveals them."""
    assert main_play.revealed == REVEALS.keys()
    assert main_play.leaks == []
    assert main_play.played.round is not None and main_play.played.round.step is Step.COMMITTED


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


async def test_who_voted_for_what_is_in_no_message(tmp_path: Path) -> None:
    """No message to anybody else names a voter beside what they chose; results carry totals only."""
    chosen = scenario("three-people")
    played = await play(chosen, tmp_path)
    results = [r for r in played.records if r.place.kind == "channel" and COUNTED.match(whole_text(r))]
    assert len(results) == 2
    for record in results:
        assert not any(re.search(rf"\b{person.name}\b", whole_text(record)) for person in chosen.team)


# What one person gives in confidence, given differently; and the words with which it is revealed or counted.
Change = Callable[[Scenario], dict[str, object]]
OTHERWISE: dict[str, tuple[str, Change, str]] = {
    "notes": ("bo", lambda s: {"notes": [_said_otherwise(n, "bo") for n in s.notes]}, "The reveal."),
    "dots": ("bo", lambda s: {"dots": {**s.dots, "bo": ["no-pause", "no-pause", "early"]}}, "The dots are counted"),
    "plans": ("cleo", lambda s: {"plans": [_planned_otherwise(p, "cleo") for p in s.plans]}, "in shuffled order"),
    "ballot": ("bo", lambda s: {"ballot": {**s.ballot, "bo": ["later", "later"]}}, "The ballot is counted"),
}


def _said_otherwise(note: Note, who: str) -> Note:
    return note.model_copy(update={"text": f"{note.text[::-1]}"}) if note.by == who else note


def _planned_otherwise(plan: Plan, who: str) -> Plan:
    return plan.model_copy(update={"title": plan.title[::-1], "steps": ["Other"]}) if plan.by == who else plan


@pytest.mark.parametrize("what", OTHERWISE)
async def test_what_others_read_before_does_not_depend_on_what_one_gave(what: str, tmp_path: Path) -> None:
    """Two rounds that differ in one person's input only read alike, to the letter, for all others until it is out."""
    who, change, marker = OTHERWISE[what]
    base = scenario("three-people")  # the same number of votes on each of as many options: the same moments
    base = base.model_copy(update={"dots": {**base.dots, "bo": ["early", "early", "no-pause"]}})
    views: list[list[str]] = []
    after: list[list[str]] = []
    for number, chosen in enumerate((base, base.model_copy(update=change(base)))):
        seen: list[list[str]] = []

        def watch(playing: Play, seen: list[list[str]] = seen) -> None:
            records = playing.house.room.all_messages()
            lines = [f"{r.at} {r.place.id} {r.author} {whole_text(r)}" for r in records if r.place.id != who]
            if not seen or not any(marker in line for line in seen[-1]):
                seen.append(lines)

        (tmp_path / str(number)).mkdir()
        await play(chosen, tmp_path / str(number), watch)
        views.append(seen[-2])
        after.append(seen[-1])
    assert views[0] == views[1]
    assert after[0] != after[1], "the change must show once it is out, or this would compare nothing"
