"""A crossed harm limit or stop line reaches whoever can decide, and stays until somebody has decided."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.domain.trial.state import TrialStep
from coldframe.engine.register import digest
from coldframe.message.packed import ButtonValue
from coldframe.speech.register import digest_words
from tests.domain.play import D, F
from tests.engine.seeing_through import Team, a_team

HOUR = timedelta(hours=1)
GOOD = "control 400/80, trial 400/100"
ASKED = "Stop it, or go on?"


@pytest.fixture
async def team(tmp_path: Path) -> AsyncIterator[Team]:
    """Dora owns it and decides; Faye facilitates; the first week is over."""
    async with a_team(tmp_path, harm_usual=2.0, harm_limit=4.0, stop_at=0.15) as team:
        await team.weeks(1, at=HOUR)
        yield team


async def _asked(team: Team, person: str) -> list[str]:
    return [words for words in team.standing(person).values() if ASKED in words]


async def _in_the_digest(team: Team) -> str:
    async with team.house.store.begin() as uow:
        found = await digest.gather(uow, "room", team.round.channel, team.clock.now())
    return " ".join(found.trials[0].alerts)


async def test_a_harm_value_beyond_its_limit_asks_whoever_can_decide(team: Team) -> None:
    """The owner at once, the facilitator in their hours, with what was agreed; it stands in the digest."""
    await team.say(D, f"{GOOD}, harm 999999")
    await team.until(team.clock.now() + timedelta(days=1))
    for person in (D, F):
        (words,) = await _asked(team, person)
        assert "“support tickets a week” was 999,999 in week 1, Mon 2 to Sun 8 March, above its limit of 4." in words
        assert "Usual is 2." in words
    assert (
        "The harm limit was crossed in week 1, Mon 2 to Sun 8 March, and nobody has decided."
        in await _in_the_digest(team)
    )
    assert any("nobody has decided" in words for words in team.channel())


async def test_it_is_asked_until_somebody_decides_and_then_told_to_all(team: Team) -> None:
    await team.say(D, f"{GOOD}, harm 9")
    await team.until(team.clock.now() + timedelta(days=3))
    assert "nobody has decided" in await _in_the_digest(team)
    assert await team.fill(F, "trial.guard", {"reason": "one big customer"}, _value(team, F, "on")) == {}
    assert "nobody has decided" not in await _in_the_digest(team)
    assert not await _asked(team, D)
    assert any("decided that it goes on: one big customer" in words for words in team.standing(D).values())
    assert any("decided that it goes on: one big customer" in words for words in team.channel())


async def test_the_button_that_stops_brings_the_review(team: Team) -> None:
    await team.say(D, f"{GOOD}, harm 9")
    assert await team.fill(D, "trial.guard", {"reason": "too many tickets"}, _value(team, D, "stop")) == {}
    trial = await team.trial()
    assert trial.step is TrialStep.IN_REVIEW and trial.stopped == "too many tickets"
    assert trial.settled[-1].stops


def _value(team: Team, person: str, part: str) -> str:
    """That of the button to stop, or to go on."""
    subject = ButtonValue.unpack(team.button(person, "trial.guard")[1].value).subject
    return ButtonValue(subject, (part,)).pack()


async def test_a_line_in_words_crosses_it_as_well(team: Team) -> None:
    """Typed behind the numbers, or ticked in the form."""
    await team.say(D, f"{GOOD}, stop line crossed")
    (words,) = await _asked(team, D)
    assert "the stop line was crossed in week 1, Mon 2 to Sun 8 March, says whoever logged it" in words
    assert "Agreed was to stop early if: complaints double." in words


async def test_a_measure_at_the_stop_line_asks_by_itself(team: Team) -> None:
    await team.say(D, "control 400/80, trial 400/56")
    (words,) = await _asked(team, D)
    assert "since week 1, Mon 2 to Sun 8 March the measure has stood at 14%, and the stop line is 15%" in words


async def test_a_corrected_week_takes_the_question_back(team: Team) -> None:
    await team.say(D, f"{GOOD}, harm 9")
    fields = {"week": "1", "control_people": "400", "control_successes": "80", "trial_people": "400"}
    fields |= {"trial_successes": "100", "state": "whole", "harm": "1", "reason": "typed wrongly"}
    assert await team.fill(D, "trial.log", fields) == {}
    assert not await _asked(team, D)
    assert await _in_the_digest(team) == ""


async def test_one_tap_says_that_nothing_happened(team: Team) -> None:
    """Offered only where the line says nothing of harm."""
    await team.say(D, GOOD)
    reply = await team.press(D, "trial.calm")
    assert reply.note is not None
    entry = (await team.trial()).entry(1)
    assert entry is not None and entry.calm
    await team.weeks(2, at=HOUR)
    await team.say(D, f"week 2: {GOOD}, harm 1")
    assert "No harm, stop line not crossed" not in team.told(D)[-1]


async def test_the_form_takes_harm_and_stop_line_with_the_rest(team: Team) -> None:
    """An empty harm number in it says that nothing happened, as the field says."""
    form = (await team.press(D, "trial.log")).form
    assert form is not None
    labels = {field.name: f"{field.label} {field.hint}" for field in form.fields}
    assert "(limit 4) Empty if nothing happened." in labels["harm"]
    assert "15% or worse; complaints double" in labels["stop"]
    fields = {"week": "1", "control_people": "400", "control_successes": "80", "trial_people": "400"}
    assert await team.fill(D, "trial.log", {**fields, "trial_successes": "100", "state": "whole"}) == {}
    entry = (await team.trial()).entry(1)
    assert entry is not None and entry.calm
    assert "nothing happened" in team.told(D)[-2]


@pytest.mark.parametrize(
    ("weeks", "step"),
    [
        (["control 400/80, trial 400/40"], "Next: let somebody else count the latest week again."),
        (["control 400/80, trial 400/0"], "Next: look whether week 1, Mon 2 to Sun 8 March, was counted."),
        (["control 400/80, trial 600/130"], "Next: let whoever built the split count who was put into which group."),
        (["control 100/20, trial 100/22"] * 3, "as planned, the target would be reached in 2 of 100 such trials."),
        (["control 400/80, trial 400/82"] * 3, "Next: stop it and free the place"),
    ],
)
async def test_bad_numbers_get_a_step_and_no_boilerplate(team: Team, weeks: list[str], step: str) -> None:
    for number, line in enumerate(weeks, 1):
        await team.weeks(number, at=HOUR)
        await team.say(D, f"week {number}: {line}")
    (words,) = [text for text in team.told(D) if step in text][-1:]
    assert "Progress so far" not in words


async def test_futility_stands_in_the_digest_too(team: Team) -> None:
    for number in (1, 2, 3):
        await team.weeks(number, at=HOUR)
        await team.say(D, f"week {number}: control 100/20, trial 100/22")
    assert "of 100 such trials" in await _in_the_digest(team)


async def test_the_digest_says_what_is_decided_and_what_is_stuck(team: Team) -> None:
    """A verdict that stands waits for its review in every digest; what is in the way is told with the reason."""
    for week in (1, 2, 3):
        await team.weeks(week, at=HOUR)
        await team.say(D, f"week {week}: control 4000/800, trial 4000/1200")
    await team.command(D, "trials", channel=False)
    await team.fill(D, "trial.block", {"text": "no room on the start page"})
    async with team.house.store.begin() as uow:
        found = await digest.gather(uow, "room", team.round.channel, team.clock.now())
    text = digest_words.markdown(found)
    assert "Decided, and waits for its review: Reached" in text
    assert found.stuck == (("Title of p0", "in the way: no room on the start page"),) and "one stuck" in text
    assert "## Stuck, and why" in text
