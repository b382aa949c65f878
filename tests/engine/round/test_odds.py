"""How likely each verdict is, told to the owner before anything can be sealed; and the forms of a criterion by kind."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import CompleteCriterion, SetActions, SetNextRound
from coldframe.domain.state import Action, ComparisonKind, Odds
from coldframe.engine.core.turn import Turn
from coldframe.message.nodes import Form
from coldframe.speech.round import results
from coldframe.speech.round.criterion_forms import KINDS
from tests.domain.play import D, F, criterion, keep_the_rest, live_now
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, told
from tests.engine.seeing_through import words as words_of

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON, P0 = MemberId("jon"), PlanId("p0")
WEEKS = "100/1000\n104/1000\n97/1000\n101/1000\n99/1000\n103/1000"


@pytest.fixture
async def chosen(tmp_path: Path) -> AsyncIterator[Running]:
    """A plan is chosen; nobody owns it yet."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await team.act("choose", ChoosePlan(F, P0))
        yield team


async def _owns(team: Running, who: MemberId = JON) -> None:
    await team.act("owned", AskOwner(F, P0, who), AnswerOwnership(who, P0, accept=True))


async def _odds(team: Running) -> Odds | None:
    return (await team.current()).choices[P0].odds


def _told_odds(team: Running, who: MemberId = JON) -> list[str]:
    return [words for words in team.told(who) if "of 100 such trials" in words]


async def test_whoever_says_yes_hears_at_once_how_likely_each_verdict_is(chosen: Running) -> None:
    """In one message of theirs alone: if the target is true, if nothing changes, and what would better it."""
    await chosen.act("few", CompleteCriterion(F, P0, criterion(weekly=200, harm_limit=None)))
    await _owns(chosen)
    (words,) = _told_odds(chosen)
    assert words.startswith("Before “Title of p0” is sealed: an effect as large as its target would show in")
    for said in ("from 20% to 26% in 4 weeks", "If the target is true: ", "If nothing changes: not reached"):
        assert said in words
    assert "More would show with 6 weeks instead of 4" in words
    assert "“support tickets a week” has no limit yet, so nobody is told when it gets worse." in words
    assert not _told_odds(chosen, D)
    found = await _odds(chosen)
    assert found is not None and sum(found.if_target.values()) == pytest.approx(1)


async def test_another_criterion_brings_the_same_message_up_to_date(chosen: Running) -> None:
    await _owns(chosen)
    more = criterion(weekly=4000, harm_usual=2.0, harm_limit=4.0, stop_at=0.15)
    await chosen.act("more", CompleteCriterion(JON, P0, more))
    (words,) = _told_odds(chosen)
    assert "90 or more of 100 such trials" in words and "More would show" not in words
    assert "support tickets a week above 4 (usually 2); the measure at 15% or below" in words


async def test_lower_is_said_lower(chosen: Running) -> None:
    await _owns(chosen)
    await chosen.act("less", CompleteCriterion(JON, P0, criterion(baseline=0.08, target=0.05)))
    assert "from 8% to 5% in 4 weeks, lower is better" in _told_odds(chosen)[0]


async def test_a_comparison_with_earlier_weeks_says_how_often_drift_alone_seems_better(chosen: Running) -> None:
    """Before it is sealed, since nothing in its numbers will tell."""
    weeks = tuple((100.0 + n % 3, 1000.0) for n in range(8))
    await _owns(chosen)
    before = criterion(kind="before-after", baseline=None, weekly=None, target=0.12, baseline_weeks=weeks)
    await chosen.act("before", CompleteCriterion(JON, P0, before))
    (words,) = _told_odds(chosen)
    assert "Weeks drift by themselves: with 8 earlier weeks, about" in words
    found = await _odds(chosen)
    assert found is not None and found.drift is not None and found.drift <= 0.1


async def test_nothing_is_sealed_before_the_owner_has_them(chosen: Running) -> None:
    """A round of an earlier release that stands here has none: they are told first, and the next press seals."""
    now = chosen.clock.now()
    await _owns(chosen)
    action = Action("a1", "I call the first team", JON, now + timedelta(days=1))
    review, next_round = live_now(now, JON, P0, now + timedelta(weeks=5)), SetNextRound(F, now + timedelta(weeks=9))
    await chosen.act("settle", SetActions(JON, P0, (action,)), review, next_round)
    await chosen.act("fates", keep_the_rest(await chosen.current()))
    await _without_odds(chosen)
    await chosen.press(D, "round.commit")
    assert (await chosen.current()).step is Step.COMMITMENT
    assert "Nothing is sealed yet: I've just worked out for" in told(chosen, D)[-1]
    assert await _odds(chosen) is not None
    await chosen.press(D, "round.commit")
    assert (await chosen.current()).step is Step.COMMITTED
    assert any("of 100 such trials show an effect, and" in words for words in chosen.channel())
    assert (await chosen.trial()).odds == await _odds(chosen)
    assert not _told_odds(chosen), "what has no more to decide goes"


async def test_whoever_seals_is_asked_once_for_the_limit_of_the_harm_measure(chosen: Running) -> None:
    """Without one nobody would be told when it gets worse; it can be given there, or sealed all the same."""
    now = chosen.clock.now()
    await chosen.act("open", CompleteCriterion(F, P0, criterion(harm_limit=None)))
    await _owns(chosen)
    action = Action("a1", "I call the first team", JON, now + timedelta(days=1))
    review, next_round = live_now(now, JON, P0, now + timedelta(weeks=5)), SetNextRound(F, now + timedelta(weeks=9))
    await chosen.act("settle", SetActions(JON, P0, (action,)), review, next_round)
    await chosen.act("fates", keep_the_rest(await chosen.current()))
    await chosen.press(D, "round.commit")
    assert (await chosen.current()).step is Step.COMMITMENT
    assert "from which value on is it harm? “support tickets a week” has no limit" in told(chosen, D)[-1]
    assert await chosen.press(F, "round.commit") is not None and (await chosen.current()).step is Step.COMMITMENT
    opened = (await chosen.press(D, "criterion.write")).form
    assert opened is not None and "harm_limit" in {field.name for field in opened.fields}
    await chosen.press(D, "round.commit")
    assert (await chosen.current()).step is Step.COMMITTED


async def test_what_cannot_be_judged_is_told_to_whoever_seals(chosen: Running) -> None:
    """Pressing again would change nothing, so the reason stands there, and the owner has the form."""
    now = chosen.clock.now()
    await _owns(chosen)
    action = Action("a1", "I call the first team", JON, now + timedelta(days=1))
    review, next_round = live_now(now, JON, P0, now + timedelta(weeks=5)), SetNextRound(F, now + timedelta(weeks=9))
    await chosen.act("settle", SetActions(JON, P0, (action,)), review, next_round)
    await chosen.act("fates", keep_the_rest(await chosen.current()))
    below = criterion(kind="count", baseline=10.0, target=-5.0, weekly=None)
    await chosen.act("below", CompleteCriterion(F, P0, below))
    await _without_odds(chosen)
    await chosen.press(D, "round.commit")
    words = told(chosen, D)[-1]
    assert words.startswith("Nothing is sealed: “Title of p0” cannot be judged as it stands: ") and "Jon" in words
    assert "Press again" not in words
    assert any("cannot be judged" in said for said in told(chosen, JON))
    assert (await chosen.current()).step is Step.COMMITMENT


async def test_a_level_is_said_as_it_was_given_wherever_it_stands(chosen: Running) -> None:
    """3.95% is 3.95% in the odds, on the plan's page and on the trial's card; a million and a half has no exponent."""
    await _owns(chosen)
    await chosen.act("fine", CompleteCriterion(JON, P0, criterion(baseline=0.0325, target=0.0395)))
    assert "from 3.25% to 3.95% in 4 weeks" in _told_odds(chosen)[0]
    round_ = await chosen.current()
    assert "3.25% to 3.95%" in words_of(results.plan_page(round_, round_.plans[P0]))
    many = replace(round_.plans[P0], criterion=criterion(kind="count", baseline=1_200_000.0, target=1_500_000.0))
    assert "1,200,000 to 1,500,000" in words_of(results.plan_page(round_, many))


async def _without_odds(team: Running) -> None:
    """As an earlier release left it."""

    async def take(turn: Turn) -> None:
        round_ = await turn.round("r1")
        choice = replace(round_.choices[P0], odds=None)
        await turn.uow.save_round(round_, replace(round_, choices={P0: choice}), (), turn.now)

    await team.house.engine.act("forget", take)
    await team.settle()


# --- forms ---


OWN: dict[ComparisonKind, set[str]] = {
    "split": {"baseline", "weekly", "planned_share"},
    "mean": {"baseline", "weekly", "planned_share", "spread"},
    "rate": {"baseline", "weekly", "planned_share"},
    "before-after": {"baseline_weeks"},
    "count": {"baseline", "baseline_weeks"},
    "share": {"baseline", "weekly"},
}
ANY = {"kind", "measure", "source", "target", "counted", "population", "lag", "harm", "harm_usual", "harm_limit"}
ANY |= {"stop_at", "stop_line", "checked_by"}
FILLED: dict[ComparisonKind, dict[str, str]] = {
    "split": {"baseline": "20%", "target": "26%", "weekly": "400", "planned_share": "30%"},
    "mean": {"baseline": "20", "target": "22", "spread": "8,5", "weekly": "300"},
    "rate": {"baseline": "0.05", "target": "0.07", "weekly": "2000"},
    "before-after": {"baseline_weeks": WEEKS, "target": "12%"},
    "count": {"baseline": "20", "target": "32"},
    "share": {"baseline": "20%", "target": "26%", "weekly": "150"},
}


async def _opened(team: Running, kind: ComparisonKind) -> Form:
    """The form of this kind, chosen in that of another."""
    await team.act("kind", CompleteCriterion(F, P0, criterion(kind="count" if kind != "count" else "split")))
    form = (await team.press(F, "criterion.write")).form
    assert form is not None
    typed = {field.name: field.initial for field in form.fields} | {"kind": kind, "measure": "typed before"}
    reply = await team.house.room.submit(F, form.action, form.value, typed)
    assert reply.form is not None
    return reply.form


@pytest.mark.parametrize("kind", [option.value for option in KINDS])
async def test_each_kind_has_its_own_short_form_and_is_kept(chosen: Running, kind: ComparisonKind) -> None:
    """Another kind brings its form, with what was typed; nothing is kept before that one is sent."""
    await _owns(chosen)
    before = (await chosen.current()).plans[P0].criterion
    form = await _opened(chosen, kind)
    assert {field.name for field in form.fields} == ANY | OWN[kind]
    initial = {field.name: field.initial for field in form.fields}
    assert (initial["kind"], initial["measure"]) == (kind, "typed before")
    assert (await chosen.current()).plans[P0].criterion.kind != kind, before
    guards = {"harm": "complaints", "harm_usual": "2", "harm_limit": "4,5", "lag": "7", "population": "new"}
    reply = await chosen.house.room.submit(F, form.action, form.value, initial | guards | FILLED[kind])
    await chosen.settle()
    assert not reply.errors
    found = (await chosen.current()).plans[P0].criterion
    assert (found.kind, found.harm_limit, found.lag, found.population) == (kind, 4.5, 7, "new")
    assert found.missing() == ()
    assert (await _odds(chosen)) is not None
    assert sum("of 100 such trials" in words for words in chosen.told(JON)) == 1


@pytest.mark.parametrize("level", [0.00005, 1.125, 22.125, 0.125, 1500000.0, 20.0])
async def test_what_the_form_is_filled_with_is_read_as_it_was(chosen: Running, level: float) -> None:
    """Opened and sent as it is, nothing changes: neither an exponent nor thousands come of it."""
    await chosen.act("level", CompleteCriterion(F, P0, criterion(kind="rate", baseline=level, target=2 * level)))
    before = (await chosen.current()).plans[P0].criterion
    form = (await chosen.press(F, "criterion.write")).form
    assert form is not None
    sent = {field.name: field.initial for field in form.fields}
    assert (await chosen.house.room.submit(F, form.action, form.value, sent)).errors == {}
    assert (await chosen.current()).plans[P0].criterion == before


@pytest.mark.parametrize(("share", "written"), [(0.2, "20%"), (0.29, "29%"), (0.03125, "3.1250%"), (0.0005, "0.05%")])
async def test_a_share_stands_in_the_form_with_its_sign_as_it_was_written(
    chosen: Running, share: float, written: str
) -> None:
    """Nobody who wrote 20 % finds 0.2 in a field that asks for a share such as 4%; and it is read as it was."""
    await chosen.act("share", CompleteCriterion(F, P0, criterion(kind="split", baseline=share, target=2 * share)))
    before = (await chosen.current()).plans[P0].criterion
    form = (await chosen.press(F, "criterion.write")).form
    assert form is not None
    sent = {field.name: field.initial for field in form.fields}
    assert sent["baseline"] == written and sent["target"].endswith("%")
    assert (await chosen.house.room.submit(F, form.action, form.value, sent)).errors == {}
    assert (await chosen.current()).plans[P0].criterion == before


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("baseline", "twenty", "“twenty” is no number; write it like 4%, 0.04"),
        ("target", "26", "26 is no share of people; write 26% or 0.26"),
        ("planned_share", "100%", "the share of people who get the change lies between 0 and 100%"),
        ("lag", "120", "a lag is at most 90 days, and 120 is not"),
        ("stop_at", "30%", "the stop line is at the target or beyond it"),
        ("harm_limit", "2", "the harm measure's limit is its usual value"),
    ],
)
async def test_a_bad_value_is_told_beside_its_field_and_nothing_is_lost(
    chosen: Running, field: str, typed: str, said: str
) -> None:
    """The form stays open with all that was typed, and what was kept before stays as it was."""
    before = (await chosen.current()).plans[P0].criterion
    form = (await chosen.press(F, "criterion.write")).form
    assert form is not None
    sent = {f.name: f.initial for f in form.fields} | {"harm_usual": "2", field: typed}
    reply = await chosen.house.room.submit(F, form.action, form.value, sent)
    assert list(reply.errors) == [field] and said in reply.errors[field]
    assert (await chosen.current()).plans[P0].criterion == before
