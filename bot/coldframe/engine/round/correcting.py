"""Putting things right in a round that runs, in one place: `/coldframe edit`, and its button on the panel. What a
change moves is said before it is made; who is touched by it hears of it afterwards."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from coldframe.domain import checks
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.correcting import LengthsSet, Reword, Reworded, SetDeadline, SetLengths, TakeOff
from coldframe.domain.state import Round
from coldframe.domain.trial.state import UNDER_WAY
from coldframe.domain.who_may import Act
from coldframe.engine.core import members, timetable, windows
from coldframe.engine.core.requests import Answers, Request, RoundAnswer, RoundRequest, of_round
from coldframe.engine.core.sent_form import FieldError, typed_day
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.reading import Unreadable, window_lines
from coldframe.engine.round import endings, guests, setup
from coldframe.message.nodes import Message
from coldframe.ports.chat import Person, Place, Reply
from coldframe.speech.names import message_name
from coldframe.speech.round import cards, correcting_words
from coldframe.timing.outlook import Change

OPEN = (Step.SETUP, *RUNNING)

_MINUTES = re.compile(r"([0-9]{1,4})\s*(?:m|mins?|minutes?)?\.?", re.IGNORECASE)


async def show(request: Request, round_: Round) -> Message:
    """All that can be put right, to the facilitator alone. Raises Refused."""
    checks.in_step(round_, *OPEN)
    checks.may(round_, request.by, Act.CORRECT)
    found = await request.turn.uow.trials_of(round_.tenant, round_.channel)
    return correcting_words.overview(round_, [trial for trial in found if trial.step in UNDER_WAY])


async def _show(request: RoundRequest) -> Reply | None:
    return await request.page(await show(request, request.round))


# --- the question ---------------------------------------------------------------------------------------------------


async def _question_form(request: RoundRequest) -> Reply:
    return Reply(form=correcting_words.question_form(request.round))


async def _question(request: RoundRequest) -> None:
    after = await request.act(Reword(request.by, request.text("text")))
    request.answer(correcting_words.reworded_for_you(after))


async def _reworded(turn: Turn, before: Round, after: Round, fact: Reworded) -> None:
    if after.step is Step.SETUP:
        await setup.propose(turn, after)
        return
    await _calendar_card(turn, after)
    await endings.say_anew(turn, after)
    words = correcting_words.reworded(after, before.settings.question)
    turn.say(after, "reworded", words, rest=(turn.kit.ids.new(""),))


async def _calendar_card(turn: Turn, round_: Round) -> None:
    rows = await timetable.rows(turn.uow, turn.now, round_)
    name = message_name(round_.id, "opened")
    turn.revise(name, turn.channel(round_), cards.round_opened(round_, rows), round_.id)


# --- who takes part -------------------------------------------------------------------------------------------------


def _others(request: RoundRequest) -> list[Person]:
    """People of the channel who do not take part; guests only when they are chosen, nobody of another organisation."""
    round_ = request.round
    there = request.turn.told.members(Place(round_.tenant, "channel", round_.channel))
    return [p for p in there if p.id not in round_.active() and not (p.is_bot or p.is_gone or p.is_foreign)]


async def _add_form(request: RoundRequest) -> Reply:
    found = _others(request)
    if not found:
        return Reply(note=correcting_words.everybody_is_in())
    return Reply(form=correcting_words.add_form(request.round, found))


async def _add(request: RoundRequest) -> None:
    person = next((p for p in _others(request) if p.id == request.text("member")), None)
    if person is None:
        raise Refused(Because.UNKNOWN_ITEM)
    after = await guests.let_in(request.turn, request.round, request.by, person)
    request.answer(correcting_words.added(after, MemberId(person.id)))


async def _remove_form(request: RoundRequest) -> Reply:
    return Reply(form=correcting_words.remove_form(request.round))


async def _would_remove(request: RoundRequest) -> None:
    member = MemberId(request.text("member"))
    request.turn.rehearse(request.round, [TakeOff(request.by, member)])
    request.answer(correcting_words.removal(request.round, member))


async def _remove(request: RoundRequest) -> None:
    member = MemberId(request.part(0))
    after = await request.act(TakeOff(request.by, member))
    await guests.taken_off(request.turn, after, member)
    request.turn.answer(after.tenant, member, correcting_words.you_were_removed(after, request.by), ask=True)
    if member != request.by:
        request.answer(correcting_words.removed(after, member))


# --- windows --------------------------------------------------------------------------------------------------------


async def _deadline_form(request: RoundRequest) -> Reply:
    return Reply(form=correcting_words.deadline_form(request.round))


async def _would_move(request: RoundRequest) -> None:
    round_, due = request.round, await _typed_deadline(request)
    request.turn.rehearse(round_, [SetDeadline(request.by, due)])
    earlier = sum(min(at, round_.progress.due or at) > due for at in round_.progress.personal.values())
    request.answer(correcting_words.deadline(round_, due, earlier))


async def _typed_deadline(request: RoundRequest) -> datetime:
    words = request.text("date").strip()
    if request.round.settings.pace == "live":
        if (minutes := _MINUTES.fullmatch(words)) is None:
            raise FieldError("date", correcting_words.NO_MINUTES)
        return request.turn.now + timedelta(minutes=int(minutes[1]))
    return (await typed_day(request, "date", words, ())).at


async def _move(request: RoundRequest) -> None:
    before = request.round
    try:
        due = datetime.fromisoformat(request.part(0))
    except ValueError:
        raise Refused(Because.UNKNOWN_ITEM) from None
    after = await request.act(SetDeadline(request.by, due))
    if after == before:
        return
    await _calendar_card(request.turn, after)
    await endings.say_anew(request.turn, after)
    if after.dates_told_times == before.dates_told_times and before.progress.due is not None:
        words = correcting_words.deadline_for_all(after, before.progress.due)
        request.turn.say(after, "deadline", words, rest=(after.step.value, request.turn.kit.ids.new("")))
    request.answer(correcting_words.deadline_set(after))


async def _windows_form(request: RoundRequest) -> Reply:
    return Reply(form=correcting_words.windows_form(request.round))


async def _would_resize(request: RoundRequest) -> None:
    text = request.text("windows")
    command = _lengths(request, text)
    request.turn.rehearse(request.round, [command])
    moved = await _dates_by(request.turn, request.round, command)
    request.answer(correcting_words.lengths(request.round, text, moved))


def _lengths(request: RoundRequest, text: str) -> SetLengths:
    """As typed for the steps ahead; those behind keep theirs. Raises FieldError."""
    round_, order = request.round, list(Step)
    try:
        found = window_lines.read(text, round_.settings.pace)
    except Unreadable as error:
        raise FieldError("windows", str(error)) from None
    kept = {s: n for s, n in round_.settings.lengths.items() if order.index(s) <= order.index(round_.step)}
    past = [s for s in found.lengths if order.index(s) <= order.index(round_.step)]
    if past:
        raise FieldError("windows", correcting_words.not_ahead(past[0]))
    is_read = order.index(Step.BALLOT) <= order.index(round_.step)
    reading = round_.settings.reading if is_read else found.reading
    return SetLengths(request.by, {**kept, **found.lengths}, reading)


async def _dates_by(turn: Turn, round_: Round, command: SetLengths) -> tuple[Change, ...]:
    if round_.step is Step.SETUP:
        return ()
    changed = replace(round_.settings, lengths=command.lengths, reading=command.reading)
    calendars = await members.calendars(turn.uow, round_.tenant, round_.active())
    was, now = (
        {Step(d.name): d.latest for d in windows.calendar_ahead(each, calendars, turn.now)}
        for each in (round_, replace(round_, settings=changed))
    )
    return timetable.moved(was, now)


async def _resize(request: RoundRequest) -> None:
    after = await request.act(_lengths(request, request.part(0)))
    if after != request.round:
        request.answer(correcting_words.lengths_set(after))


async def _lengths_set(turn: Turn, before: Round, after: Round, fact: LengthsSet) -> None:
    if after.step is Step.SETUP:
        await setup.propose(turn, after)
    else:
        await _calendar_card(turn, after)


ANY_STEP: Mapping[str, RoundAnswer] = {
    "edit.show": _show,
    "edit.question": _question_form,
    "edit.add": _add_form,
    "edit.remove": _remove_form,
    "edit.remove_yes": _remove,
}
ITS_STEP: Mapping[str, RoundAnswer] = {
    "edit.deadline": _deadline_form,
    "edit.deadline_yes": _move,
    "edit.windows": _windows_form,
    "edit.windows_yes": _resize,
}
"""What depends on which step runs."""
BUTTONS: Answers = {**of_round(ANY_STEP, OPEN), **of_round(ITS_STEP)}
FORMS: Answers = {
    **of_round({"edit.question": _question, "edit.add": _add, "edit.remove": _would_remove}, OPEN),
    **of_round({"edit.deadline": _would_move, "edit.windows": _would_resize}),
}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {Reworded: _reworded, LengthsSet: _lengths_set}
