"""Buttons and forms that were made for what is over: nothing is changed, and what is open now is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from coldframe.chat.room.records import Record
from coldframe.domain.names import ForceId, MemberId, NoteId, PlanId, QuestionId, Side, Step
from coldframe.domain.round.choosing import AskOwner, ChoosePlan
from coldframe.domain.round.notes import WithdrawNote, WriteNote
from coldframe.domain.round.questions import WriteQuestion
from coldframe.message.nodes import Button, plain
from coldframe.message.packed import ButtonValue
from coldframe.players.hand import buttons_of
from coldframe.ports.chat import Inbound, Pressed, Reply
from tests.domain.play import FD, RETENTION, D, F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach, told
from tests.engine.seeing_through import CHANNEL, Team, a_team, words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")
_numbers = count()
NOTHING = "Nothing was changed."


def _under(team: Team, person: MemberId, action: str) -> tuple[Record, Button]:
    """The newest button of this kind in the person's direct messages."""
    room = team.house.room
    found = [(r, b) for r in room.messages(room.direct(person)) for b in buttons_of(r) if b.action == action]
    return found[-1]


async def _presses(team: Team, person: MemberId, old: tuple[Record, Button]) -> Reply:
    """As if on a screen that was not drawn anew since, where a message stands that is gone by now."""
    record, button = old
    what = Pressed(button.action, button.value, record.id)
    now = team.clock.now()
    event = Inbound(f"{person}/{button.action}/{now}/{next(_numbers)}", person, record.place.root(), now, what)
    reply = await team.house.engine.receive(event)
    await team.settle()
    return reply


def _note(reply: Reply) -> str:
    assert reply.note is not None
    return words(reply.note)


def _offered(reply: Reply) -> list[str]:
    assert reply.note is not None
    return [b.label for block in reply.note.blocks for b in getattr(block, "buttons", ())]


# --- steps of a round ---------------------------------------------------------------------------------------------


async def test_close_the_merge_pressed_in_dots_leaves_the_dots_open(tmp_path: Path) -> None:
    """What it belonged to, what became of that, and what its presser can do now, in a passing note."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        old = _under(team, F, "step.close")
        before, heard = await reach(team, Step.DOTS), len(told(team, F))
        reply = await _presses(team, F, old)
        assert await team.current() == before
        assert "That was for the merge step of name of r1, which is over: the list of forces stands." in _note(reply)
        assert NOTHING in _note(reply) and "is at Dots" in _note(reply)
        assert {"Close the step", "Extend"} <= set(_offered(reply))
        assert len(told(team, F)) == heard, "a dead button leaves nothing behind"


async def _asks(team: Running) -> None:
    round_ = await team.current()
    force = next(s.option for s in round_.forces_standing if s.carried)
    await team.act("ask", WriteQuestion(F, QuestionId("q0"), ForceId(force), "How might we bill more clearly?"))


@pytest.mark.parametrize("step", [Step.PLANS, Step.BALLOT])
async def test_publish_the_questions_pressed_later_ends_no_other_step(tmp_path: Path, step: Step) -> None:
    """Neither are the plans revealed, nor does the ballot end with votes uncast."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        await _asks(team)
        old = _under(team, F, "step.close")
        before = await reach(team, step)
        await team.until(before.progress.opens or team.clock.now())
        before = await team.current()
        assert NOTHING in _note(await _presses(team, F, old))
        await team.until(team.clock.now() + timedelta(minutes=1))
        assert await team.current() == before


async def test_done_on_the_notes_card_is_not_done_with_the_dots(tmp_path: Path) -> None:
    """The dots that follow are counted: nobody is through by a button of another step."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        old = _under(team, JON, "step.done")
        await reach(team, Step.DOTS)
        assert NOTHING in _note(await _presses(team, JON, old))
        assert JON not in (await team.current()).progress.done
        for emoji in ("🌿", "🪴", "🌱"):
            await team.house.room.react_as(JON, team.line(JON), emoji)
        after = await team.current()
        assert after.dots is not None and len(after.dots.counted(JON)) == 3


async def test_done_a_second_time_is_answered(tmp_path: Path) -> None:
    """From a card that was drawn before; silence would look like a fault."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        card = _under(team, JON, "step.done")
        await _presses(team, JON, card)
        assert "It stands like that already" in _note(await _presses(team, JON, card))


async def test_an_older_buttons_step_is_that_of_its_message(tmp_path: Path) -> None:
    """Buttons of earlier releases do not say it. Where the message does not either, nothing is changed."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        record, button = _under(team, F, "step.close")
        older = replace(button, value="r1")
        note = (await team.house.room.press(F, None, "step.close", "r1", forged=True)).note
        assert note is not None and "which step" in words(note) and NOTHING in words(note)
        assert (await team.current()).step is Step.MERGE
        await _presses(team, F, (record, older))
        await team.press(F, "held.now")
        before = await team.current()
        assert before.step is Step.DOTS
        assert NOTHING in _note(await _presses(team, F, (record, older)))
        assert await team.current() == before


async def test_a_word_that_was_asked_about_in_another_step_does_nothing(tmp_path: Path) -> None:
    """“Close the step” under a word typed while notes were open does not close the focus."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        await team.say(F, "close")
        old = _under(team, F, "word.do")
        before = await reach(team, Step.FOCUS)
        await _presses(team, F, old)
        assert await team.current() == before
        assert any("moved on since you typed that" in one for one in told(team, F))


async def test_a_round_that_ended_says_so(tmp_path: Path) -> None:
    """And what else is open for whoever pressed."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        old = _under(team, JON, "vote.cast")
        await team.command(F, "")
        await team.fill(F, "round.cancel", {"reason": "Another matter is more urgent"})
        assert "which was cancelled. Nothing was changed." in _note(await _presses(team, JON, old))


# --- forms --------------------------------------------------------------------------------------------------------


async def test_a_form_of_a_step_that_is_over_comes_back_field_by_field(tmp_path: Path) -> None:
    """Each text under its name, in a message that stays, with what is open now."""
    async with at_step(tmp_path, MONDAY, Step.PRECEDENTS) as team:
        form = (await team.press(JON, "precedent.write")).form
        assert form is not None
        before = await reach(team, Step.PLANS)
        fields = {"question": "q1", "title": "A library", "idea": "They rang.", "details": "All of them."}
        reply = await team.house.room.submit(JON, form.action, form.value, fields)
        await team.settle()
        assert await team.current() == before
        assert reply.errors == {}
        card = team.told(JON)[-1]
        assert "the precedents are in" in card
        for one in ("Title:\nA library", "The big idea:\nThey rang.", "Details:\nAll of them.", "is at Plans"):
            assert one in card, card


async def test_a_note_that_comes_after_the_reveal_is_kept_as_a_late_one(tmp_path: Path) -> None:
    """Its form stays of use in every step: nobody has to write it again."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        form = (await team.press(JON, "note.write")).form
        assert form is not None
        await reach(team, Step.MERGE)
        fields = {"lever": "retention", "side": "restraining", "text": "The late bill"}
        await team.house.room.submit(JON, form.action, form.value, fields)
        assert [n.text for n in (await team.current()).late_notes.values()] == ["The late bill"]


async def test_a_form_refused_for_now_stays_open_with_everything_in_it(tmp_path: Path) -> None:
    """The reason stands at a field though it is about none; the same form is taken once there is room."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        form = (await team.press(JON, "note.write")).form
        assert form is not None
        side = Side.RESTRAINING
        await team.act("many", *(WriteNote(JON, NoteId(f"x{n}"), RETENTION, side, f"Number {n}") for n in range(20)))
        fields = {"lever": "retention", "side": "restraining", "text": "The bill"}
        reply = await team.house.room.submit(JON, form.action, form.value, fields)
        assert ["You have 20 already" in sentence for sentence in reply.errors.values()] == [True]
        await team.act("room", WithdrawNote(JON, NoteId("x0")))
        assert (await team.house.room.submit(JON, form.action, form.value, fields)).errors == {}
        assert "The bill" in [n.text for n in (await team.current()).notes.values()]


# --- owners, forecasts --------------------------------------------------------------------------------------------


async def test_a_yes_to_what_was_passed_on_says_to_whom(tmp_path: Path) -> None:
    """Somebody else was asked meanwhile."""
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await team.act("choose", ChoosePlan(D, PlanId("p0"), 0), AskOwner(F, PlanId("p0"), JON))
        old = _under(team, JON, "owner.accept")
        await team.act("instead", AskOwner(F, PlanId("p0"), FD))
        before = await team.current()
        reply = await _presses(team, JON, old)
        assert await team.current() == before
        assert "That asked you to own “Title of p0”. Fred is asked now. Nothing was changed." in _note(reply)


async def test_a_forecast_after_the_seal_is_not_taken(tmp_path: Path) -> None:
    """Chances are locked, and the answer says that the commitment is sealed."""
    async with a_team(tmp_path) as team:
        value = ButtonValue("r1", ("p0", "70"), Step.COMMITMENT).pack()
        reply = await team.house.room.press(FD, None, "forecast.give", value, forged=True)
        assert "the commitment is sealed. Nothing was changed." in _note(reply)
        assert FD not in (await team.trial()).chances


# --- trials -------------------------------------------------------------------------------------------------------


async def test_the_button_of_a_week_that_was_logged_meanwhile_opens_no_form(tmp_path: Path) -> None:
    """It says what is logged; a correction is another matter."""
    async with a_team(tmp_path) as team:
        await team.weeks(1.3)
        old = _under(team, D, "trial.log")
        await team.say(D, "control 400/80, trial 390/82")
        before = await team.trial()
        reply = await _presses(team, D, old)
        assert reply.form is None
        assert "logged meanwhile, week 1, Mon 2 to Sun 8 March: without the change 80 of 400" in _note(
            reply
        ) and NOTHING in _note(reply)
        assert await team.trial() == before


async def test_a_line_for_one_week_is_not_taken_for_the_next(tmp_path: Path) -> None:
    """Asked which of two trials; answered when the week has been logged in another way."""
    async with a_team(tmp_path, plans={"p0": D, "p1": D}) as team:
        await team.weeks(1.3)
        await team.say(D, "control 400/80, trial 390/82")
        trial = await team.trial()
        old = next(one for one in _all(team, D, "trial.take") if one[1].value.startswith(trial.id))
        await _presses(team, D, old)
        await team.weeks(2.3)
        reply = await _presses(team, D, old)
        assert "logged meanwhile" in _note(reply)
        assert set((await team.trial()).weeks) == {1}


def _all(team: Team, person: MemberId, action: str) -> list[tuple[Record, Button]]:
    room = team.house.room
    return [(r, b) for r in room.messages(room.direct(person)) for b in buttons_of(r) if b.action == action]


async def test_buttons_of_a_missed_review_do_not_close_the_next(tmp_path: Path) -> None:
    """Nor does the form that was opened for it: what was written into it comes back."""
    async with a_team(tmp_path) as team:
        await team.weeks(4, at=timedelta(days=1, hours=2))
        old = _under(team, D, "trial.close")
        form = (await _presses(team, D, old)).form
        assert form is not None
        await team.weeks(5.6)
        assert (await team.trial()).missed_reviews == 1
        before = await team.trial()
        assert "an earlier review of “Title of p0”" in _note(await _presses(team, D, old))
        fields = {"learning": "Calling works", "decision": "scale", "reason": "It is cheap"}
        await team.house.room.submit(D, form.action, form.value, fields, forged=True)
        await team.settle()
        assert await team.trial() == before
        assert "Calling works" in team.told(D)[-1] and NOTHING in team.told(D)[-1]


async def test_after_the_review_its_buttons_say_how_it_was_closed(tmp_path: Path) -> None:
    """Everything of the trial is over with it."""
    async with a_team(tmp_path) as team:
        await team.weeks(4, at=timedelta(days=1, hours=2))
        old, room = _under(team, D, "trial.close"), team.house.room
        message, learn = team.button(FD, "trial.learn")
        card = next(r for r in room.messages(room.channel(CHANNEL)) if r.id == message)
        done = {"learning": "Calling works", "decision": "scale", "reason": "It is cheap"}
        assert not await team.fill(D, "trial.close", done)
        before = await team.trial()
        assert "whose review was closed on" in _note(await _presses(team, D, old))
        late = await _presses(team, FD, (card, learn))
        assert late.form is None and "whose review was closed on" in _note(late)
        assert await team.trial() == before


# --- a person's own -----------------------------------------------------------------------------------------------


async def test_not_today_means_the_day_on_which_it_was_asked(tmp_path: Path) -> None:
    """An old reminder's button does not silence another day."""
    async with a_team(tmp_path) as team:
        await team.weeks(1.3)
        old = _under(team, D, "me.later")
        await team.weeks(2.05)
        nudges = await team.nudges(D)
        reply = await _presses(team, D, old)
        assert await team.nudges(D) == nudges
        assert reply.note is not None and "another day" in plain(reply.note.summary)
