"""Each scenario that the demo ships ends sensibly, and the channel is told how."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

from coldframe.domain.names import Step
from coldframe.players.hand import words_of
from coldframe.render.room import message_text
from demo.play import Play
from tests.demo.main_scenario import MainPlay
from tests.demo.runs import Played, play, scenario


def test_three_people_reach_a_commitment(small_play: Played) -> None:
    """The smallest team that may hold a round reaches its commitment."""
    assert small_play.round is not None
    assert small_play.round.step is Step.COMMITTED
    assert small_play.said("Committed: A pause of up to three weeks.")


async def test_one_person_is_refused_with_the_reason(tmp_path: Path) -> None:
    """One person alone cannot start a round, and is told why."""
    played = await play(scenario("one-person"), tmp_path)
    assert played.round is not None
    assert played.round.step is Step.SETUP
    assert "at least 3 people" in played.refused
    assert played.said("A round needs at least 3 people")


async def test_a_round_in_which_nobody_writes_is_extended_once_and_then_asked_about(tmp_path: Path) -> None:
    """Nothing is revealed when nobody wrote: one extension, the question to the facilitator, and the cancelled end."""
    heard: set[tuple[str, str]] = set()

    def watch(playing: Play) -> None:
        heard.update((r.place.id, words_of(r)) for r in playing.house.room.all_messages())

    played = await play(scenario("nobody-writes"), tmp_path, watch)
    assert played.round is not None
    assert played.round.step is Step.CANCELLED
    assert len(played.said("step open until")) == 1
    assert {place for place, words in heard if "has none of the 3 people that it needs" in words} == {"asa", "bo"}
    assert not played.said("The reveal.")
    for person in ("asa", "bo", "cleo", "dara"):
        nudges = [r for r in played.said("To do: ") if r.place.id == person]
        assert len(nudges) <= 2, "two reminders a step at most, the extension included"


async def test_ties_stay_ties(tmp_path: Path) -> None:
    """When all votes tie, all forces share the first place and go on, and both plans share it too."""
    played = await play(scenario("all-tie"), tmp_path)
    assert played.round is not None
    assert played.round.step is Step.COMMITTED
    assert {s.place for s in played.round.forces_standing} == {1}
    assert {s.place for s in played.round.plans_standing} == {1}
    assert not any(s.drawn for s in played.round.plans_standing)
    assert any("share the first place" in words_of(r) for r in played.records)


async def test_a_decision_maker_who_never_answers_is_replaced_by_the_deputy(tmp_path: Path) -> None:
    """The focus is extended once; then the deputy decides, in the open, and the round reaches its commitment."""
    played = await play(scenario("silent-chief"), tmp_path)
    assert played.round is not None
    assert played.round.step is Step.COMMITTED
    handed = played.said("acts as decision-maker from now on")
    assert [r.place.kind for r in handed] == ["channel"]
    assert "Cleo" in words_of(handed[0])


Standing = tuple[datetime, list[str]]
"""What stands in the room at a moment."""
BEGINS = {"rest": "Bread round: a break until", "goes on": "Bread round goes on", "read": "Two plans are in"}


async def test_a_team_in_one_sitting_plays_the_whole_round(tmp_path: Path) -> None:
    """Each precedent is told in its two minutes; a break after an hour gives the step back what it took; whoever votes
    has had five minutes to read; and the whole of it fits one long morning."""
    moments: list[Standing] = []

    def watch(playing: Play) -> None:
        standing = (r.message for r in playing.house.room.all_messages() if r.message is not None and not r.gone)
        moments.append((playing.clock.now(), [message_text(m, "Europe/London", playing.clock.now()) for m in standing]))

    played = await play(scenario("one-sitting"), tmp_path, watch)
    assert played.round is not None and played.round.step is Step.COMMITTED
    rests, goes_on, plans = (_first(moments, begins) for begins in BEGINS.values())
    assert goes_on - rests == timedelta(minutes=10)
    told = [_first(moments, f"told: {who}") for who in ("Cleo", "Dara")]
    assert _first(moments, "now, until") < rests, "somebody is telling when the break comes"
    assert [one - goes_on for one in told] == [timedelta(minutes=2), timedelta(minutes=4)]
    until = {
        found[1] for _, every in moments for w in every if (found := re.search(r": Plans\n.*Until: (.*?)\n", w, re.S))
    }
    assert until == {"today 10:43", "today 10:53"}
    ballots = _first(moments, "Which plans have the most effect on their question?")
    assert timedelta(minutes=5) <= ballots - plans <= timedelta(minutes=6)
    assert _first(moments, "Committed: A pause of up to three weeks") - moments[0][0] < timedelta(hours=3)


def _first(moments: list[Standing], begins: str) -> datetime:
    """When these words first stood in the room."""
    return next(at for at, every in moments if any(begins in words for words in every))


def test_the_main_scenario_tells_its_whole_story(main_play: MainPlay) -> None:
    """A tie at the cut, a late note, a declined ownership, a hand-over, two verdicts, a late start, a second round."""
    played = main_play.played
    assert played.round is not None
    assert played.round.step is Step.COMMITTED
    last = max(s.place for s in played.round.forces_standing if s.carried)
    at_the_cut = [s for s in played.round.forces_standing if s.place == last]
    assert len(at_the_cut) > 1 and all(s.carried for s in at_the_cut)
    assert played.round.late_notes, "and nothing is said about it any more"
    assert [who for choice in played.round.choices.values() for who, _ in choice.declined] == ["tom"]
    assert played.said("Ellis owns the trial")
    assert played.said("is reviewed: Harm: ") and played.said("Reached: 53.8% with the change")
    assert played.said("is reviewed: Not reached")
    assert played.said("A place was free, so “Practice that nobody can hear” is being built from today")
    openings = played.said("A new round starts")
    assert len(openings) == 2
    assert "Practice that nobody can hear" in played.digest
    assert played.said("Owen decided that it goes on: Nine of the eleven")
    assert played.said("Here it is, to open in a browser or to print: Spring round")
