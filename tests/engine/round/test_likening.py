"""What belongs together is shown where it helps: buttons in the likeliest order, earlier trials on the author's sheet,
earlier stories on a question's card, the same people in other words at the commitment. By words where there is no
encoder."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import ForceId, MemberId, PlanId, PrecedentId, QuestionId, RoundId, Step
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.commitment import CompleteCriterion
from coldframe.domain.round.moves import Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import DropQuestion, WriteQuestion
from coldframe.domain.round.reopening import OpenAgain
from coldframe.domain.state import Precedent, Question
from coldframe.engine.register import registering
from coldframe.engine.round.steps import plans
from coldframe.engine.worker import likening
from coldframe.meaning import encoder
from coldframe.players.hand import buttons_of
from coldframe.ports.follow_through import RegisterEntry
from tests.domain.play import D, F, a_plan, criterion
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
INES, JON = MemberId("ines"), MemberId("jon")
P0, P1 = PlanId("p0"), PlanId("p1")


@pytest.fixture(params=["meaning", "words"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """With the encoder where there is one, and without."""
    if request.param == "words":
        monkeypatch.setattr(likening, "encoder", lambda: None)
    elif encoder() is None:
        pytest.skip("no sentence encoder")
    return str(request.param)


# --- a text without a lever ---


def _places(team: Running) -> list[str]:
    """The labels of the buttons under the newest question about a text."""
    room = team.house.room
    record = next(r for r in reversed(room.messages(room.direct(JON))) if r.message and "draft.place" in str(r.message))
    return [b.label for b in buttons_of(record) if b.action == "draft.place"]


async def test_the_likeliest_lever_of_an_unclear_text_comes_first(tmp_path: Path, way: str) -> None:
    """All stay there to choose; by words it is one that the text names."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, "Customers don't come back after their first order, they forget us")
        await team.settle()
        labels = _places(team)
        assert sorted(label.split(",")[0] for label in labels) == sorted(["Acquisition", "Activation", "Retention"] * 2)
        assert all(label.startswith("Retention") for label in labels[:2])


async def test_a_text_that_names_its_lever_is_asked_only_for_its_side(tmp_path: Path, way: str) -> None:
    """Nothing is reordered there."""
    async with running(tmp_path, MONDAY) as team:
        await team.say(JON, "activation: customers don't come back")
        await team.settle()
        assert [label.split(",")[0] for label in _places(team)] == ["Activation", "Activation"]
        assert all(not draft.likely for draft in (await team.current()).drafts.values())


# --- plans ---


def _entry(trial: str, title: str, hypothesis: str) -> RegisterEntry:
    where = ("room", "growth", "winter", "retention", "Retention")
    learnt = "Nobody answers before ten"
    return RegisterEntry(trial, *where, title, hypothesis, "", "", "Mia", "not met", MONDAY, learning=learnt)


@pytest.fixture
async def at_plans(tmp_path: Path) -> AsyncIterator[Running]:
    """With two trials in the register, of which one is like the plan of these tests."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        async with team.house.store.begin() as uow:
            team_of = team.round.channel
            call = _entry("t1", "A phone call on day three", "We ring every team that just joined in its first week.")
            bread = _entry("t2", "A guest loaf", "If one loaf a month is another one, orders last.")
            await uow.enter(replace(call, team=team_of))
            await uow.enter(replace(bread, team=team_of))
        yield team


def _sheet(team: Running, person: MemberId) -> str:
    return next(words for words in reversed(team.told(person)) if "One page" in words)


async def test_an_author_finds_what_was_tried_before_on_the_sheet(at_plans: Running, way: str) -> None:
    """In place, with what was learnt, to nobody else, and no message of its own."""
    team = at_plans
    plan = a_plan("p9", title="Call new teams in their first week")
    await team.act("hand in", HandInPlan(INES, plan))
    await team.settle()
    sheet = _sheet(team, INES)
    assert (
        "Like an earlier trial: “A phone call on day three” (not reached). Learnt: Nobody answers before ten." in sheet
    )
    assert "A guest loaf" not in sheet
    assert sum("A phone call on day three" in words for words in team.told(INES)) == 1
    others = [*team.channel(), *(words for who in (F, D, JON) for words in team.told(who))]
    assert not any("A phone call on day three" in words for words in others)


async def test_a_plan_that_is_like_nothing_says_nothing(at_plans: Running, way: str) -> None:
    """A newer version is compared anew."""
    team = at_plans
    await team.act("hand in", HandInPlan(INES, a_plan("p9", title="Call new teams in their first week")))
    await team.settle()
    other = a_plan("p9", title="Paint the shop window", hypothesis="If the window is blue, passers-by look up.")
    await team.act("hand in again", HandInPlan(INES, other))
    await team.settle()
    assert "Like an earlier trial" not in _sheet(team, INES)


async def test_the_trial_that_a_plan_tries_in_another_way_is_not_named_again(at_plans: Running, way: str) -> None:
    """Its author knows."""
    team = at_plans
    async with team.house.store.begin() as uow:
        round_ = await uow.round(team.round.id)
        assert round_ is not None
        plan = a_plan("p9", author=INES, title="Call new teams in their first week", child_of="t1")
        entries = [e.trial_id for e in await registering.to_compare(uow, round_, plan)]
    assert sorted(entries) == ["t1", "t2"]
    found = await plans.earlier_like(team.house.kit, round_, plan)
    assert found.earlier == ()


# --- questions ---


async def _told_in_winter(team: Running) -> None:
    """An earlier round of the team: a question like the one of these tests, another one, and a story for each."""
    round_ = await team.current()
    question = Question(QuestionId("q0"), round_.forces[0].id, "How might we greet teams that are new?")
    other = Question(QuestionId("q9"), round_.forces[0].id, "How might we print cheaper invoices?")
    told = tuple(
        Precedent(PrecedentId(f"x{n}"), D, q.id, title, "An idea")
        for n, (q, title) in enumerate([(question, "A hotel's doorman"), (other, "A copy shop")])
    )
    of_winter = {"questions": (question, other), "precedents": told}
    async with team.house.store.begin() as uow:
        earlier = replace(round_, id=RoundId("r0"), name="Winter", step=Step.COMMITTED, **of_winter)
        await uow.add_round(earlier, MONDAY)


def _desk(team: Running) -> str:
    """The facilitator's, as it stands now."""
    return next(said for said in reversed(team.told(F)) if "Turn each force into" in said)


async def test_what_was_told_before_is_a_list_the_likeliest_first(tmp_path: Path, way: str) -> None:
    """Of earlier rounds of the team, behind a button of the question's card; nothing of it stands in the channel."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        await _told_in_winter(team)
        await reach(team, Step.PRECEDENTS)
        await team.settle()
        assert not any("doorman" in said or "copy shop" in said for said in team.channel())
        note = (await team.press(INES, "kin.show")).note
        assert note is not None
        told = words(note)
        assert "“A hotel's doorman”, in Winter for “How might we greet teams that are new?”" in told
        assert told.index("doorman") < told.index("A copy shop")


async def test_nobody_is_offered_stories_where_none_were_told(tmp_path: Path) -> None:
    """In a team's first round."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        await team.settle()
        with pytest.raises(LookupError):
            team.button(INES, "kin.show")


async def test_questions_that_are_written_anew_are_compared_anew(tmp_path: Path, way: str) -> None:
    """What was found for those that are gone is on no card any more."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        await _told_in_winter(team)
        await reach(team, Step.PRECEDENTS)
        await team.settle()
        await team.act("again", OpenAgain(F, Step.QUESTIONS))
        force = next(s.option for s in (await team.current()).forces_standing if s.carried)
        new = WriteQuestion(F, QuestionId("q5"), ForceId(force), "How might we answer on Sundays?")
        await team.act("anew", DropQuestion(F, QuestionId("q1")), new, Close(F))
        await team.settle()
        assert {kin.question for kin in (await team.current()).kin} == {QuestionId("q5")}


async def test_questions_most_alike_stand_side_by_side_on_the_desk(tmp_path: Path, way: str) -> None:
    """For the facilitator, who may drop one of them; two alone need no order."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        force = ForceId(next(s.option for s in (await team.current()).forces_standing if s.carried))
        texts = {
            "a": "How might we greet new teams?",
            "b": "How might we print invoices?",
            "c": "How might we greet teams that are new?",
        }
        for name, text in texts.items():
            await team.act(name, WriteQuestion(F, QuestionId(name), force, text))
            await team.settle()
        desk = _desk(team)
        assert "stand side by side" in desk
        assert abs(desk.index(texts["a"]) - desk.index(texts["c"])) < abs(
            desk.index(texts["b"]) - desk.index(texts["c"])
        )
        await team.act("drop", DropQuestion(F, QuestionId("a")))
        await team.settle()
        desk = _desk(team)
        assert "stand side by side" not in desk and texts["c"] in desk


async def test_a_page_without_a_question_offers_the_likeliest_first(tmp_path: Path, way: str) -> None:
    """A story that came as plain text: its form names all questions, that on which it bears most on top."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        force = ForceId(next(s.option for s in (await team.current()).forces_standing if s.carried))
        for name, text in (("a", "How might we print invoices?"), ("b", "How might we greet new teams on day one?")):
            await team.act(name, WriteQuestion(F, QuestionId(name), force, text))
        await team.act("close", Close(F))
        await team.say(INES, "A hotel's doorman\nHe greets new teams of guests on day one by their names.")
        await team.settle()
        form = (await team.press(INES, "precedent.write")).form
        assert form is not None
        (field,) = (field for field in form.fields if field.name == "question")
        assert next(option.value for option in field.options) == "b"
        assert {"a", "b"} <= {option.value for option in field.options}


# --- the same people ---


async def _overlapping(team: Running, one: str, other: str) -> str:
    """The commitment card of two trials on people in these words."""
    await team.act("choose", ChoosePlan(D, P0, 0), ChoosePlan(D, P1, 0))
    criteria = (CompleteCriterion(D, P0, criterion(counted=one)), CompleteCriterion(D, P1, criterion(counted=other)))
    await team.act("criteria", *criteria)
    await team.settle()
    return next(words for words in reversed(team.channel()) if "Still missing" in words)


async def test_the_same_people_in_other_words_are_asked_about(tmp_path: Path, way: str) -> None:
    """By both wordings; one tap accepts it."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        card = await _overlapping(team, "Teachers at primary schools", "Primary school teachers")
        assert "may be the same people" in card and "“Primary school teachers”" in card
        await team.press(D, "overlap.accept")
        await team.settle()
        assert "may be the same people" not in next(w for w in reversed(team.channel()) if "Still missing" in w)


async def test_other_people_in_nearly_the_same_words_are_not(tmp_path: Path, way: str) -> None:
    """Another number is another list."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        assert "same people" not in await _overlapping(team, "Teams of list 1", "Teams of list 2")
