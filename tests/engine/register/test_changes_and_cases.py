"""A trial that is to be tried in another way comes back as a plan; and how often trials like a new one reached."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import LeverId, PlanId, RoundId, Step
from coldframe.domain.round.moves import Close
from coldframe.domain.trial.state import Closing, Decision, Trial, TrialId, TrialStep
from coldframe.engine.core import changing
from coldframe.message.nodes import Form
from coldframe.ports.follow_through import Wanted
from tests.domain.play import EVERYBODY, D, F, criterion
from tests.engine.seeing_through import CHANNEL, MONDAY, Team, a_team, words

JON = EVERYBODY[5]


def _trial(name: str, outcome: str, decision: Decision, **changes: object) -> Trial:
    closing = Closing(outcome, f"It was {outcome}.", decision, "Because", "We learnt", D, MONDAY, "The call itself")
    whole = Trial(
        id=TrialId(name), tenant="room", team=CHANNEL, round_id=RoundId("r0"), round_name="winter", plan=PlanId(name),
        title=f"Trial {name}", hypothesis="If we call, they stay.", question="How might we greet new teams?",
        lever=LeverId("retention"), lever_name="Retention", steps=("Call them",), criterion=criterion(), planned=4,
        facilitator=F, people={m: m.title() for m in EVERYBODY[:6]}, owner=D, step=TrialStep.REVIEWED, closing=closing,
    )  # fmt: skip
    return replace(whole, **changes)  # type: ignore[arg-type]


async def _keep(team: Team, *trials: Trial) -> None:
    async with team.house.store.begin() as uow:
        for trial in trials:
            await uow.add_trial(trial, MONDAY)


@pytest.fixture
async def precedents(tmp_path: Path) -> AsyncIterator[Team]:
    async with a_team(tmp_path, sealed=False, step=Step.PRECEDENTS) as team:
        yield team


async def test_a_change_comes_back_where_plans_are_written(precedents: Team) -> None:
    """With what stays, on a page that is filled already; the plan counts as that trial's child, and says so."""
    team = precedents
    await _keep(team, _trial("t1", "not reached", "change"), _trial("t2", "reached", "scale"))
    await team.act("to the plans", Close(F))
    await team.until(team.clock.now() + timedelta(days=1))
    sheet = next(text for text in reversed(team.told(JON)) if "One page" in text)
    assert "try “Trial t1” in another way. What stays: The call itself" in sheet and "Trial t2" not in sheet
    opened = (await team.press(JON, "plan.again")).form
    assert opened is not None
    filled = {field.name: field.initial for field in opened.fields}
    assert (filled["title"], filled["hypothesis"]) == ("Trial t1", "If we call, they stay.")
    question = (await team.current()).questions[0].id
    await hand_in(team, opened, title="Call later in the day", question=question)
    plan = next(p for p in (await team.current()).plans.values() if p.author == JON)
    assert (plan.child_of, plan.title) == ("t1", "Call later in the day")
    edited = (await team.press(JON, "plan.edit")).form
    assert edited is not None
    await hand_in(team, edited, title="Call at noon")
    plan = next(p for p in (await team.current()).plans.values() if p.author == JON)
    assert (plan.child_of, plan.title) == ("t1", "Call at noon")
    await team.act("reveal", Close(F))
    await team.until(team.clock.now() + timedelta(days=1))
    assert any("Another try of: “Trial t1”. What stays: The call itself" in text for text in team.channel())


async def hand_in(team: Team, form: Form | None, **others: str) -> None:
    """Both forms of a page as they come, with what is written otherwise."""
    while form is not None:
        sent = {field.name: others.get(field.name, field.initial) for field in form.fields}
        reply = await team.house.room.submit(JON, form.action, form.value, sent)
        await team.settle()
        assert not reply.errors
        form = reply.form


async def test_what_was_tried_again_is_not_offered_again(precedents: Team) -> None:
    """Nor what was decided otherwise; the newest come first."""
    team = precedents
    child = _trial("t3", "reached", "stop", child_of=TrialId("t1"))
    await _keep(team, _trial("t1", "not reached", "change"), child, _trial("t4", "better", "change"))
    async with team.house.store.begin() as uow:
        assert [c.trial for c in await changing.waiting(uow, "room", CHANNEL)] == ["t4"]


async def test_a_forecast_is_asked_beside_how_often_trials_like_it_reached(tmp_path: Path) -> None:
    """From five on, in lever, design and length; what was brought in is not counted."""
    async with a_team(tmp_path, sealed=False) as team:
        tried = [_trial(f"t{n}", "reached" if n < 2 else "not reached", "stop") for n in range(5)]
        await _keep(team, *tried, _trial("b1", "reached", "stop", brought="an old sheet"))
        await team.house.room.press(F, None, "choice.make", f"{team.round.id}%:commitment|p0", forged=True)
        await team.until(team.clock.now() + timedelta(days=3))
        asked = next(text for text in team.told(JON) if "How likely is “Title of p0”" in text)
        assert "Trials like this one (Retention, split, 4 weeks): 2 of 5 reached." in asked


async def test_with_four_nothing_is_said(tmp_path: Path) -> None:
    """A share of four says nothing."""
    async with a_team(tmp_path, sealed=False) as team:
        await _keep(team, *(_trial(f"t{n}", "reached", "stop") for n in range(4)))
        await team.house.room.press(F, None, "choice.make", f"{team.round.id}%:commitment|p0", forged=True)
        await team.until(team.clock.now() + timedelta(days=3))
        assert PlanId("p0") in (await team.current()).choices
        assert not [text for text in team.told(JON) if "Trials like this one" in text or "trials reached" in text]


async def test_the_register_says_how_many_of_those_found_reached(tmp_path: Path) -> None:
    """Of those that were judged here alone."""
    async with a_team(tmp_path) as team:
        async with team.house.store.begin() as uow:
            (known,) = await uow.search("room", [CHANNEL], Wanted())
            for number in range(5):
                verdict = "reached" if number < 3 else "cannot tell"
                done = replace(known, trial_id=f"t{number}", verdict=verdict, decision="stop", title=f"Number {number}")
                await uow.enter(done)
            await uow.enter(replace(known, trial_id="b", verdict="went well", decision="stop", brought="an old sheet"))
        found = (await team.command(F, "search since:2020-01-01")).note
        assert found is not None and "3 of 5 judged here reached their target." in words(found)
        few = (await team.command(F, "search verdict:reached")).note
        assert few is not None and "judged here" not in words(few)
