"""What a happening means: who said, pressed, sent or reacted, to what, and which command that is."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace
from typing import Any

from coldframe.domain import who_may
from coldframe.domain.commands import BOT, Command
from coldframe.domain.names import LeverId, MemberId, PauseReason, Role, Step
from coldframe.domain.people.commands import Leave
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round.ballots import CastVote, TakeBackVote
from coldframe.domain.round.moves import Pause
from coldframe.domain.round.notes import DropDraft, EditNote, WithdrawNote
from coldframe.domain.state import Draft, Note, Round
from coldframe.engine.core import access, members
from coldframe.engine.core.requests import Over, Request, Uses
from coldframe.engine.core.sent_form import FieldError
from coldframe.engine.core.turn import Turn
from coldframe.engine.intake import bare_words, late, misplaced, panel, submissions, texts
from coldframe.engine.people import front_page, personal
from coldframe.engine.reading import asked_words, note_lines
from coldframe.engine.register import teams
from coldframe.engine.round import guests, joining, locking, rehearsing
from coldframe.engine.trial import addresses, forecasts, ownership, weekly
from coldframe.message.packed import MessageName
from coldframe.ports.chat import (
    Act,
    ChannelLost,
    Commanded,
    Counted,
    Edited,
    Erased,
    Happening,
    HomeOpened,
    Inbound,
    Joined,
    Left,
    Person,
    PersonChanged,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from coldframe.ports.storage import Posted
from coldframe.speech import answers, handed_back
from coldframe.speech.refusals import refusal

Ear = Callable[[Request, Any], Awaitable[Reply | None]]
LOST: Mapping[str, PauseReason] = {
    "archived": PauseReason.CHANNEL_ARCHIVED,
    "deleted": PauseReason.CHANNEL_DELETED,
    "removed": PauseReason.CHANNEL_LEFT,
}
MAX_HANDED_BACK = 3000  # a longer message stands right above its answer, in its writer's own words


async def hear(uses: Uses, turn: Turn, event: Inbound) -> Reply:
    """Answers one happening inside its transaction. A refusal is told to the person, in private; nothing changed."""
    request = Request(uses=uses, turn=turn, event=event)
    try:
        if isinstance(event.what, Act):
            access.at_the_door(turn, event)
        reply = await HANDLERS[type(event.what)](request, event.what) or Reply()
        return late.never_silent(request, reply)
    except Over as over:
        return await late.answered(request, over)
    except access.Unheard:
        await turn.uow.count("bots ignored")
        return Reply()
    except Refused as refused:
        return refuse(turn, event, refused) if _asks(event) else Reply()


def _asks(event: Inbound) -> bool:
    """Whether somebody turned to the bot: to others nothing is said of a refusal."""
    what = event.what
    if isinstance(what, HomeOpened):
        return False
    return event.place.kind == "direct" or isinstance(what, Commanded | Pressed | Submitted) or _calls(what)


def _calls(what: Happening) -> bool:
    return isinstance(what, Said) and what.mentioned


def refuse(turn: Turn, event: Inbound, refused: Refused) -> Reply:
    """The reason, privately: beside a form's field, as an answer in the direct messages, or as a passing note."""
    if isinstance(event.what, Submitted):
        field = submissions.field_of(event.what, refused)
        if field is not None:  # the form stays open, with everything in it
            return Reply(errors={field: answers.sentence(refusal(refused))})
        if submissions.typed(event.what):  # the form is gone with this answer, and a passing note would be too
            words = refusal(refused, *handed_back.sheet(event.what.fields))
            turn.answer(event.place.tenant, event.person, words)
            return Reply()
    text = event.what.text if isinstance(event.what, Said) and len(event.what.text) <= MAX_HANDED_BACK else ""
    words = refusal(refused, *handed_back.text(text))
    if event.place.kind == "direct" and not isinstance(event.what, Counted):
        turn.answer(event.place.tenant, event.person, words)
        return Reply()
    return Reply(note=words)


# --- texts ---


async def _said(request: Request, what: Said) -> Reply | None:
    if request.event.place.kind == "channel":
        return await _said_in_channel(request, what)
    words = what.text.strip()
    if what.mentioned and not texts.is_question(words) and not note_lines.is_signed(words):
        return await panel.ask(request, words)
    if what.thread is None and words.lower() in request.uses.words:
        return await bare_words.heard(request, what, words.lower())
    left = asked_words.without_what_now(what.text)
    if left is None:
        return await _text(request, what)
    if left.strip():
        await _text(request, replace(what, text=left))
    return await panel.what_is_open(request)


async def _text(request: Request, what: Said) -> Reply | None:
    """A line in the direct messages that is no command."""
    turn, event = request.turn, request.event
    posted = await _thread_root(turn, event, what.thread)
    if await texts.suggested(turn, event, what, posted):
        return None
    if await weekly.heard(turn, event, what, posted):
        return None
    if asked_words.asks_how_it_stands(what.text) and not await texts.rounds_in_notes(turn, event):
        return await panel.what_is_open(request)
    return await texts.heard(turn, event, what, posted, _lever_of(posted))


async def _said_in_channel(request: Request, what: Said) -> Reply | None:
    turn, event = request.turn, request.event
    posted = await _thread_root(turn, event, what.thread)
    if (what.mentioned or posted is not None) and (round_ := await texts.suggested(turn, event, what, posted)):
        return Reply(note=answers.question_suggested(round_))
    if await misplaced.offered(turn, event, what, posted):
        return None
    return await panel.ask(request, what.text) if what.mentioned else None


async def _thread_root(turn: Turn, event: Inbound, thread: str | None) -> Posted | None:
    return await turn.uow.posted_as(event.place, thread) if thread else None


def _lever_of(posted: Posted | None) -> LeverId | None:
    """The lever of the prompt in whose thread somebody wrote, which earlier releases sent:
    `round/prompt/person/lever`."""
    name = MessageName.unpack(posted.name) if posted is not None else None
    return LeverId(name.rest[1]) if name is not None and name.what == "prompt" and len(name.rest) == 2 else None


async def _edited(request: Request, what: Edited) -> Reply | None:
    """Before the reveal the newest text counts. Afterwards nobody can know which note it was."""
    turn, event = request.turn, request.event
    for round_ in await texts.rounds_in_notes(turn, event):
        mine, drafts = texts.from_message(round_, MemberId(event.person), what.message)
        if mine or drafts:
            access.to_round(turn, event, round_, who_may.Act.OWN_NOTE)
            await _heard_anew(turn, round_, what, mine, drafts)
            return None
    told = f"edition/{event.place.tenant}/{event.person}/{what.message}/{what.edition}"
    if what.edition and not await turn.uow.first_time(told, turn.now):
        return None  # it was told at once, and is found again when the conversation is read
    if await texts.asked_anew(turn, event, what) or await weekly.line_changed(turn, event, what):
        return None
    direct = event.place.kind == "direct"
    if not (direct and await texts.suggested(turn, event, Said(what.text, what.message), None)):
        await _after_reveal(turn, event)
    return None


async def _heard_anew(turn: Turn, round_: Round, what: Edited, mine: list[Note], drafts: list[Draft]) -> None:
    """The changed message is read like a new one; where it leaves side or lever open, they stay as they were."""
    member = (mine[0].author if mine else None) or drafts[0].author
    pieces = _pieces(round_, asked_words.without_what_now(what.text) or what.text, mine)
    if (
        len(mine) == len(pieces) == 1
        and not drafts
        and (pieces[0].lever, pieces[0].side) == (mine[0].lever, mine[0].side)
    ):
        await turn.act(round_, EditNote(member, mine[0].id, pieces[0].text, texts.origin_of(what)))
        return
    older: list[Command] = [WithdrawNote(member, note.id) for note in mine]
    older += [DropDraft(member, draft.id) for draft in drafts]
    await texts.keep(turn, round_, member, pieces, texts.origin_of(what), older)
    for draft in drafts:
        turn.revise_own(round_, member, "draft", answers.draft_changed(), draft.id)


def _pieces(round_: Round, text: str, mine: list[Note]) -> list[note_lines.Heard]:
    levers, sides = {n.lever for n in mine}, {n.side for n in mine}
    lever = levers.pop() if len(levers) == 1 else None
    side = sides.pop() if len(sides) == 1 else None
    heard = list(note_lines.read_notes(text, round_.settings.levers, lever))
    if len(heard) == 1 < len(mine) and heard[0].side is None:  # its lines were placed as a note each
        heard = [replace(heard[0], text=piece.strip()) for piece in text.split("\n") if piece.strip()]
    return [replace(h, side=h.side or side, lever=h.lever or lever) for h in heard]


async def _erased(request: Request, what: Erased) -> Reply | None:
    turn, event = request.turn, request.event
    member = MemberId(event.person)
    found = False
    for round_ in await texts.rounds_in_notes(turn, event):
        mine, drafts = texts.from_message(round_, member, what.message)
        for note in mine:
            round_ = await turn.act(round_, WithdrawNote(member, note.id))
        for draft in drafts:
            round_ = await turn.act(round_, DropDraft(member, draft.id))
            turn.revise_own(round_, member, "draft", answers.draft_dropped(), draft.id)
        found = found or bool(mine or drafts)
    if found:
        turn.answer(event.place.tenant, event.person, answers.note_withdrawn())
    elif not await texts.thrown_away(turn, event, what.message):
        await _after_reveal(turn, event)
    return None


async def _after_reveal(turn: Turn, event: Inbound) -> None:
    if event.place.kind != "direct":
        return
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    if any(h.step not in (Step.SETUP, Step.NOTES) for h in heads):
        turn.answer(event.place.tenant, event.person, answers.edit_after_reveal())


async def _commanded(request: Request, what: Commanded) -> Reply | None:
    return await panel.ask(request, what.text)


async def _home(request: Request, what: HomeOpened) -> Reply | None:
    await front_page.opened(request)
    return None


async def _pressed(request: Request, what: Pressed) -> Reply | None:
    """Carries out a button. Unknown names and made-up values are refused without a change."""
    answer = known(request.uses.buttons.get(what.action))
    try:
        reply = await answer(replace(request, value=what.value))
        if what.message is None and request.event.place.kind == "direct" and request.turn.changed:
            await front_page.show(request)  # perhaps it was pressed there
        return reply
    except FieldError:  # the value repeats what a form took, so that one that cannot be taken was made up
        raise Refused(Because.UNKNOWN_ITEM) from None


# --- votes by emoji ---


async def _reacted(request: Request, what: Reacted) -> Reply | None:
    """An emoji on an option of one's own ballot is a vote, a tick under the ballot locks it; anything else is counted
    and left alone."""
    turn, event = request.turn, request.event
    posted = await turn.uow.posted_as(event.place, what.message)
    if await forecasts.reacted(turn, event, posted, what) or await locking.reacted(turn, event, posted, what):
        return None
    option = _option_of(posted)
    if posted is None or option is None or posted.round_id is None or option[0] != event.person:
        await turn.uow.count("reactions ignored")
        return None
    round_ = await turn.round(posted.round_id)
    _, step, key = option
    if round_.step.value != step:
        turn.answer(event.place.tenant, event.person, answers.ballot_closed(round_))
        return None
    voter = MemberId(event.person)
    access.to_round(turn, event, round_, who_may.Act.VOTE)
    command: Command = CastVote(voter, key, what.emoji) if what.added else TakeBackVote(voter, key, what.emoji)
    await turn.act(round_, command)
    return None


def _option_of(posted: Posted | None) -> tuple[str, str, str] | None:
    """(voter, step, option) of an option message: `round/option/voter/step/option`."""
    name = MessageName.unpack(posted.name) if posted is not None else None
    if name is None or name.what != "option" or len(name.rest) != 3:
        return None
    voter, step, option = name.rest
    return voter, step, option


# --- people and channels ---


async def _joined(request: Request, what: Joined) -> Reply | None:
    turn, event = request.turn, request.event
    person = turn.told.person(event.place, event.person)
    await members.came_or_went(turn.uow, event.place, event.person, came=True)
    if person.is_bot or person.is_gone or await rehearsing.interrupted(turn, event.place, person):
        return None
    await members.upsert_member(turn.uow, event.place.tenant, person)
    if person.is_foreign or (person.is_guest and not await guests.may_take_part(turn, event.place, person.id)):
        await guests.came(turn, event.place, person)
        return None
    for head in await turn.uow.heads(event.place.tenant, channel=event.place.id):
        await joining.join(turn, await turn.round(head.id), BOT, person)
    await _back_in_the_last_round(turn, event, person)
    await ownership.came(turn, event.place.tenant, person.id, person.name, event.place.id)
    return None


async def _back_in_the_last_round(turn: Turn, event: Inbound, person: Person) -> None:
    """Who took part in it, left since and came back is of the team again."""
    round_ = await teams.last_ended(turn.uow, event.place.tenant, event.place.id)
    if round_ is not None and MemberId(person.id) in round_.seats:
        await joining.join(turn, await turn.round(round_.id), BOT, person)


async def _left(request: Request, what: Left) -> Reply | None:
    turn, event = request.turn, request.event
    await members.came_or_went(turn.uow, event.place, event.person, came=False)
    heads = await turn.uow.heads(event.place.tenant, channel=event.place.id, member=event.person)
    last = await teams.last_ended(turn.uow, event.place.tenant, event.place.id)
    await _leave_all(turn, event, [*(h.id for h in heads), *([last.id] if last is not None else [])])
    await ownership.left(turn, event.place.tenant, event.person, event.place.id)
    await personal.end_calendar(turn, event.place.tenant, event.person)
    return None


async def _leave_all(turn: Turn, event: Inbound, rounds: list[str]) -> None:
    for round_id in rounds:
        round_ = await turn.round(round_id)
        seat = round_.seats.get(MemberId(event.person))
        if seat is not None and not seat.left:
            await turn.act(round_, Leave(BOT, seat.member))


async def _person_changed(request: Request, what: PersonChanged) -> Reply | None:
    turn, event = request.turn, request.event
    before = await turn.uow.member(event.place.tenant, what.person.id)
    if before is None:
        return None
    await members.upsert_member(turn.uow, event.place.tenant, what.person)
    if what.person.is_gone:
        heads = await turn.uow.heads(event.place.tenant, member=what.person.id)
        newest = await turn.uow.rounds_with(event.place.tenant, what.person.id)
        await _leave_all(turn, event, list(dict.fromkeys([*(h.id for h in heads), *newest])))
        await ownership.left(turn, event.place.tenant, what.person.id)
        await personal.end_calendar(turn, event.place.tenant, what.person.id)
    elif what.person.zone and before.zone != what.person.zone:
        await personal.zone_reported(turn, before, what.person.zone)
    return None


async def _channel_lost(request: Request, what: ChannelLost) -> Reply | None:
    turn, event = request.turn, request.event
    lost = LOST[what.reason]
    for head in await turn.uow.heads(event.place.tenant, channel=event.place.id):
        round_ = await turn.round(head.id)
        if round_.step is not Step.SETUP and round_.paused is None:
            await turn.act(round_, Pause(BOT, lost))
        turn.answer(round_.tenant, round_.roles.acting(Role.FACILITATOR), answers.channel_lost(round_, lost), ask=True)
    return None


HANDLERS: Mapping[type, Ear] = {
    Said: _said,
    Edited: _edited,
    Erased: _erased,
    Commanded: _commanded,
    HomeOpened: _home,
    Pressed: _pressed,
    Submitted: submissions.submitted,
    Counted: addresses.came_in,
    Reacted: _reacted,
    Joined: _joined,
    Left: _left,
    PersonChanged: _person_changed,
    ChannelLost: _channel_lost,
}
