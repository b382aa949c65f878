"""A plan that starts later than its round: its odds come before the yes, and two trials on the same people need one."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import TrialStep
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import D, F
from tests.engine.round_the_clock import ALWAYS
from tests.engine.seeing_through import MONDAY, Team, a_team
from tests.engine.seeing_through import words as said

INES, JON = MemberId("ines"), MemberId("jon")
FIELDS = {"owner": INES, "actions": "I write the list | in 2 days", "live": "in 1 week"}
HOURS = {INES: ALWAYS, JON: ALWAYS, F: ALWAYS}


async def _start(team: Team, **changes: str) -> dict[str, str]:
    opened = await team.house.room.press(F, None, "trial.plan", f"{team.round.id}|p2", forged=True)
    assert opened.form is not None
    form = opened.form
    reply = await team.house.room.submit(F, form.action, form.value, FIELDS | changes)
    await team.settle()
    return dict(reply.errors)


def _asked(team: Team, person: str) -> list[str]:
    return [said for said in team.told(person) if "asks you to own the trial" in said]


async def test_whoever_is_asked_hears_with_the_question_how_likely_each_verdict_is(tmp_path: Path) -> None:
    """What was planned, each verdict if the target is true and if nothing changes; the yes freezes it."""
    async with a_team(tmp_path, calendars=HOURS) as team:
        before = len(team.told(F))
        assert not await _start(team)
        assert len(team.told(F)) == before, "one passing word is enough"
        told = said(team.house.room.notes(F)[-1].message)
        assert "I ask Ines in private" in told and "should be live on Mon 9 March" in told
        (words,) = _asked(team, INES)
        assert "Your yes freezes its criterion. An effect as large as its target would show in" in words
        assert "The plan: from 20% to 26% in 4 weeks" in words and "If nothing changes: not reached" in words
        assert "If one is crossed, you, the facilitator and the decision-maker hear of it" in words
        trial = await team.trial("p2")
        assert (trial.step, trial.odds is not None) == (TrialStep.PROPOSED, True)
        await team.press(INES, "trial.accept")
        started = await team.trial("p2")
        assert (started.step, started.odds) == (TrialStep.BUILDING, trial.odds)


async def test_the_next_one_who_is_asked_hears_the_same_odds(tmp_path: Path) -> None:
    """After a no with somebody else's name."""
    async with a_team(tmp_path, calendars=HOURS) as team:
        await _start(team)
        (first,) = _asked(team, INES)
        assert not await team.fill(INES, "trial.decline", {"reason": "On leave", "instead": JON})
        (second,) = _asked(team, JON)
        assert first.partition("Your yes")[2] == second.partition("Your yes")[2] != ""


async def test_a_harm_measure_without_a_limit_is_asked_for_one(tmp_path: Path) -> None:
    """In the same form; empty it stays without, and whoever is asked reads so."""
    async with a_team(tmp_path, calendars=HOURS, harm_limit=None) as team:
        await _start(team, harm_usual="2", harm_limit="5")
        assert (await team.trial("p2")).criterion.harm_limit == 5
        assert "support tickets a week above 5 (usually 2)" in _asked(team, INES)[0]


async def test_a_criterion_that_nobody_can_judge_asks_nobody(tmp_path: Path) -> None:
    """The facilitator hears why, and the plan can be started again."""
    async with a_team(tmp_path, calendars=HOURS, kind="count", baseline=10.0, target=-5.0, weekly=None) as team:
        await _start(team)
        assert any("isn't started, and nobody was asked" in said and "target" in said for said in team.told(F))
        assert not _asked(team, INES)
        assert (await team.trial("p2")).step is TrialStep.DROPPED
        assert not await _start(team)


async def test_the_same_people_at_the_same_time_need_a_tick(tmp_path: Path) -> None:
    """Without it nothing is kept; once the other trial's last week is over, none is asked for."""
    async with a_team(tmp_path, population="new") as team:
        wrong = await _start(team)
        assert "same people as “Title of p0”" in wrong["overlap"]
        async with team.house.store.begin() as uow:
            assert await uow.trial(f"{team.round.id}-p2") is None
        assert not await _start(team, live="2026-04-20")


async def test_a_tick_starts_it_all_the_same(tmp_path: Path) -> None:
    """Once somebody knows that nobody can tell the two apart."""
    async with a_team(tmp_path, population="new") as team:
        assert not await _start(team, overlap="yes")
        assert (await team.trial("p2")).step is TrialStep.PROPOSED


async def test_a_review_falls_into_the_hours_of_its_owner_and_of_somebody_else_who_holds_it(tmp_path: Path) -> None:
    """Owner in Kolkata, decision-maker in New York, facilitator in London: the three share no hour, two of them do."""
    zones = {INES: "Asia/Kolkata", D: "America/New_York", F: "Europe/London"}
    calendars = {who: WorkingCalendar(zone=zone) for who, zone in zones.items()}
    async with a_team(tmp_path, plans={"p0": INES}, build=2, calendars=calendars) as team:
        await team.until(MONDAY + timedelta(days=2, hours=-3))
        assert not await team.fill(INES, "trial.live_since", {"since": "2026-03-04"})
        review = (await team.trial()).review
        assert review is not None
        for who in (INES, F):
            assert calendars[who].is_working(review), who
        assert not calendars[D].is_working(review)
