"""What a happening means: who said, pressed, sent or reacted, to what, and which command that is."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from typing import Any

from bot.domain.commands import (
    BOT,
    CastVote,
    Command,
    DropDraft,
    EditNote,
    Join,
    KeepDraft,
    Leave,
    Pause,
    SuggestQuestion,
    TakeBackVote,
    WithdrawNote,
    WriteNote,
)
from bot.domain.names import LeverId, MemberId, NoteId, Role, Step
from bot.domain.questions import OPENING
from bot.domain.refusals import Because, Refused
from bot.domain.state import Draft, Note, Round
from bot.engine import dialogue, forecasting, ownership, panel, people, personal, presses, submissions, weekly
from bot.engine.turn import Turn
from bot.ports.chat import (
    ChannelLost,
    Commanded,
    Edited,
    Erased,
    HomeOpened,
    Inbound,
    Joined,
    Left,
    PersonChanged,
    Pressed,
    Reacted,
    Reply,
    Said,
    Submitted,
)
from bot.ports.storage import Posted
from bot.speech import answers
from bot.speech.refusals import refusal

Ear = Callable[[Turn, Inbound, Any], Awaitable[Reply]]
LONGEST_HANDED_BACK = 3000  # a longer message stands right above its answer, in its writer's own words


async def hear(turn: Turn, event: Inbound) -> Reply:
    """Answers one happening inside its transaction. A refusal is told to the person, in private; nothing changed."""
    try:
        return await EARS[type(event.what)](turn, event, event.what)
    except Refused as refused:
        return refuse(turn, event, refused)


def refuse(turn: Turn, event: Inbound, refused: Refused) -> Reply:
    """The reason, privately: beside a form's field, as an answer in the direct messages, or as a passing note."""
    if isinstance(event.what, Submitted):
        field = submissions.field_of(event.what, refused)
        if field is not None:
            return Reply(errors={field: answers.sentence(refusal(refused))})
        typed = submissions.typed(event.what)
        if typed:  # the form is gone with this answer, and a passing note would be too
            turn.answer(event.place.tenant, event.person, refusal(refused, handed_back=typed))
            return Reply()
    text = event.what.text if isinstance(event.what, Said) and len(event.what.text) <= LONGEST_HANDED_BACK else ""
    words = refusal(refused, handed_back=text)
    if event.place.kind == "direct":
        turn.answer(event.place.tenant, event.person, words)
        return Reply()
    return Reply(note=words)


# --- texts ---


async def _said(turn: Turn, event: Inbound, what: Said) -> Reply:
    if event.place.kind == "channel":
        return await _said_in_channel(turn, event, what)
    words = what.text.strip()
    first = words.split(None, 1)[0].lower() if words else ""
    if (what.mentioned and not _is_question(what)) or (first in panel.WORDS and what.thread is None):
        return await panel.ask(turn, event, words)
    posted = await _thread_root(turn, event, what.thread)
    if await _suggested(turn, event, what, posted):
        return Reply()
    numbers = await weekly.heard(turn, event, what, posted)
    if numbers is not None:
        return numbers
    round_ = await _round_for_text(turn, event, posted)
    if round_ is None:
        return Reply()
    lever = _lever_of(posted)
    return await take_notes(turn, event, round_, what, lever)


async def _said_in_channel(turn: Turn, event: Inbound, what: Said) -> Reply:
    posted = await _thread_root(turn, event, what.thread)
    if (what.mentioned or posted is not None) and (round_ := await _suggested(turn, event, what, posted)):
        return Reply(note=answers.question_suggested(round_))
    return await panel.ask(turn, event, what.text) if what.mentioned else Reply()


def _is_question(what: Said) -> bool:
    return what.text.lower().lstrip().startswith(OPENING)


async def _suggested(turn: Turn, event: Inbound, what: Said, posted: Posted | None) -> Round | None:
    """A wording for a question, from anybody of a round whose questions are being written; it goes to the facilitator.

    Channels are not read everywhere: there it takes the bot's name before it. Raises Refused.
    """
    round_ = await _round_in_questions(turn, event, posted) if _is_question(what) else None
    if round_ is None or not (what.mentioned or event.person in round_.seats):
        return None
    round_ = await turn.act(round_, SuggestQuestion(MemberId(event.person), what.text))
    if event.place.kind == "direct":
        turn.answer(round_.tenant, event.person, answers.question_suggested(round_))
    return round_


async def _round_in_questions(turn: Turn, event: Inbound, posted: Posted | None) -> Round | None:
    """The round of the thread, else the only one here that is at its questions, where the text can be no note."""
    if posted is not None and posted.round_id is not None:
        of_thread = await turn.round(posted.round_id)
        return of_thread if of_thread.step is Step.QUESTIONS else None
    where = {"channel": event.place.id} if event.place.kind == "channel" else {"member": event.person}
    heads = await turn.uow.heads(event.place.tenant, **where)
    fitting = [h for h in heads if h.step is Step.QUESTIONS or (h.step is Step.NOTES and "member" in where)]
    if len(fitting) != 1 or fitting[0].step is not Step.QUESTIONS:
        return None
    return await turn.round(fitting[0].id)


async def _thread_root(turn: Turn, event: Inbound, thread: str | None) -> Posted | None:
    return await turn.uow.posted_as(event.place, thread) if thread else None


def _lever_of(posted: Posted | None) -> LeverId | None:
    """The lever of the prompt in whose thread somebody wrote: `round/prompt/person/lever`."""
    if posted is None:
        return None
    parts = posted.name.split("/")
    return LeverId(parts[3]) if len(parts) == 4 and parts[1] == "prompt" else None


async def _round_for_text(turn: Turn, event: Inbound, posted: Posted | None) -> Round | None:
    """The round that a private text belongs to; one question back when there are several, a word when there is none."""
    if posted is not None and posted.round_id is not None:
        return await turn.round(posted.round_id)
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    started = [h for h in heads if h.step is not Step.SETUP]
    taking = [h for h in started if h.step is Step.NOTES] or started
    if len(taking) == 1:
        return await turn.round(taking[0].id)
    words = answers.which_round([h.name for h in taking]) if taking else answers.no_round()
    turn.answer(event.place.tenant, event.person, words)
    return None


async def take_notes(turn: Turn, event: Inbound, round_: Round, what: Said, lever: LeverId | None) -> Reply:
    """A private text becomes notes as far as it is clear; the rest is kept as a draft and asked about once."""
    member = MemberId(event.person)
    if member not in round_.seats:
        raise Refused(Because.NOT_A_MEMBER)
    heard = dialogue.read_notes(what.text, round_.settings.levers, lever)
    if not heard:
        raise Refused(Because.EMPTY, field="text")
    await _keep(turn, round_, member, heard, what.message)
    return Reply()


async def _keep(
    turn: Turn,
    round_: Round,
    member: MemberId,
    heard: Sequence[dialogue.Heard],
    origin: str,
    before: Sequence[Command] = (),
) -> None:
    """What is clear becomes notes, what is not is asked about, after what must go `before`: all of it or nothing."""
    unclear = [h for h in heard if not h.clear]
    commands = list(before)
    for note in (h for h in heard if h.clear):
        assert note.lever is not None and note.side is not None
        note_id = NoteId(turn.kit.ids.new("n"))
        commands.append(WriteNote(member, note_id, note.lever, note.side, note.text, origin))
    text = "\n".join(h.text for h in unclear)
    asks = bool(unclear) and round_.step is Step.NOTES
    draft = NoteId(turn.kit.ids.new("d"))
    round_ = await turn.act_all(round_, [*commands, KeepDraft(member, draft, text, origin)] if asks else commands)
    if asks:
        _ask_back(turn, round_, member, draft, text, unclear[0])
    elif unclear:
        turn.answer(round_.tenant, member, answers.not_a_time_for_notes(round_, text))


def _ask_back(turn: Turn, round_: Round, member: MemberId, draft: NoteId, text: str, first: dialogue.Heard) -> None:
    """One question with buttons; the text waits as a draft, sealed like a note."""
    words = answers.which_note(round_, draft, text, first.lever, first.side, first.lever_tried)
    turn.tell(round_, member, "draft", words, rest=(draft,), only_in=Step.NOTES)


async def _edited(turn: Turn, event: Inbound, what: Edited) -> Reply:
    """Before the reveal the newest text counts. Afterwards nobody can know which note it was."""
    for round_ in await _rounds_in_notes(turn, event):
        mine, drafts = _from_message(round_, MemberId(event.person), what.message)
        if mine or drafts:
            await _heard_anew(turn, round_, what, mine, drafts)
            return Reply()
    await _after_reveal(turn, event)
    return Reply()


def _from_message(round_: Round, member: MemberId, message: str) -> tuple[list[Note], list[Draft]]:
    """What this person's chat message became: notes, and what was not clear in it."""
    mine = [n for n in round_.notes.values() if n.author == member and n.origin == message]
    return mine, [d for d in round_.drafts.values() if d.author == member and d.origin == message]


async def _heard_anew(turn: Turn, round_: Round, what: Edited, mine: list[Note], drafts: list[Draft]) -> None:
    """The changed message is read like a new one; where it leaves side or lever open, they stay as they were."""
    member = (mine[0].author if mine else None) or drafts[0].author
    pieces = _pieces(round_, what.text, mine)
    if (
        len(mine) == len(pieces) == 1
        and not drafts
        and (pieces[0].lever, pieces[0].side) == (mine[0].lever, mine[0].side)
    ):
        await turn.act(round_, EditNote(member, mine[0].id, pieces[0].text))
        return
    older: list[Command] = [WithdrawNote(member, note.id) for note in mine]
    older += [DropDraft(member, draft.id) for draft in drafts]
    await _keep(turn, round_, member, pieces, what.message, older)
    for draft in drafts:
        turn.revise_own(round_, member, "draft", answers.draft_changed(), draft.id)


def _pieces(round_: Round, text: str, mine: list[Note]) -> list[dialogue.Heard]:
    levers, sides = {n.lever for n in mine}, {n.side for n in mine}
    lever = levers.pop() if len(levers) == 1 else None
    side = sides.pop() if len(sides) == 1 else None
    heard = list(dialogue.read_notes(text, round_.settings.levers, lever))
    if len(heard) == 1 < len(mine) and heard[0].side is None:  # its lines were placed as a note each
        heard = [replace(heard[0], text=piece.strip()) for piece in text.split("\n") if piece.strip()]
    return [replace(h, side=h.side or side, lever=h.lever or lever) for h in heard]


async def _erased(turn: Turn, event: Inbound, what: Erased) -> Reply:
    member = MemberId(event.person)
    found = False
    for round_ in await _rounds_in_notes(turn, event):
        mine, drafts = _from_message(round_, member, what.message)
        for note in mine:
            round_ = await turn.act(round_, WithdrawNote(member, note.id))
        for draft in drafts:
            round_ = await turn.act(round_, DropDraft(member, draft.id))
            turn.revise_own(round_, member, "draft", answers.draft_dropped(), draft.id)
        found = found or bool(mine or drafts)
    if found:
        turn.answer(event.place.tenant, event.person, answers.note_withdrawn())
    else:
        await _after_reveal(turn, event)
    return Reply()


async def _rounds_in_notes(turn: Turn, event: Inbound) -> list[Round]:
    if event.place.kind != "direct":
        return []
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    return [await turn.round(h.id) for h in heads if h.step is Step.NOTES]


async def _after_reveal(turn: Turn, event: Inbound) -> None:
    if event.place.kind != "direct":
        return
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    if any(h.step not in (Step.SETUP, Step.NOTES) for h in heads):
        turn.answer(event.place.tenant, event.person, answers.edit_after_reveal())


async def _commanded(turn: Turn, event: Inbound, what: Commanded) -> Reply:
    return await panel.ask(turn, event, what.text)


async def _home(turn: Turn, event: Inbound, what: HomeOpened) -> Reply:
    await panel.show_home(turn, event)
    return Reply()


# --- votes by emoji ---


async def _reacted(turn: Turn, event: Inbound, what: Reacted) -> Reply:
    """An emoji on an option of one's own ballot is a vote; anything else is counted and left alone."""
    posted = await turn.uow.posted_as(event.place, what.message)
    if await forecasting.reacted(turn, event, posted, what):
        return Reply()
    option = _option_of(posted)
    if posted is None or option is None or posted.round_id is None or option[0] != event.person:
        await turn.uow.count("reactions ignored")
        return Reply()
    round_ = await turn.round(posted.round_id)
    _, step, key = option
    if round_.step.value != step:
        turn.answer(event.place.tenant, event.person, answers.ballot_closed(round_))
        return Reply()
    voter = MemberId(event.person)
    command: Command = CastVote(voter, key, what.emoji) if what.added else TakeBackVote(voter, key, what.emoji)
    await turn.act(round_, command)
    return Reply()


def _option_of(posted: Posted | None) -> tuple[str, str, str] | None:
    """(voter, step, option) of an option message: `round/option/voter/step/option`."""
    if posted is None:
        return None
    parts = posted.name.split("/")
    return (parts[2], parts[3], parts[4]) if len(parts) == 5 and parts[1] == "option" else None


# --- people and channels ---


async def _joined(turn: Turn, event: Inbound, what: Joined) -> Reply:
    person = turn.told.person(event.place, event.person)
    if person.is_bot or person.is_gone:
        return Reply()
    await people.known(turn.uow, event.place.tenant, person)
    for head in await turn.uow.heads(event.place.tenant, channel=event.place.id):
        round_ = await turn.round(head.id)
        if person.is_guest or person.is_foreign:
            words = answers.guest_came(round_, person.name, foreign=person.is_foreign)
            turn.answer(round_.tenant, round_.roles.acting(Role.FACILITATOR), words)
        else:
            await turn.act(round_, Join(BOT, MemberId(person.id), person.name))
    if not (person.is_guest or person.is_foreign):
        await ownership.came(turn, event.place.tenant, person.id, person.name, event.place.id)
    return Reply()


async def _left(turn: Turn, event: Inbound, what: Left) -> Reply:
    heads = await turn.uow.heads(event.place.tenant, channel=event.place.id, member=event.person)
    await _leave_all(turn, event, [h.id for h in heads])
    await ownership.left(turn, event.place.tenant, event.person, event.place.id)
    return Reply()


async def _leave_all(turn: Turn, event: Inbound, rounds: list[str]) -> None:
    for round_id in rounds:
        round_ = await turn.round(round_id)
        seat = round_.seats.get(MemberId(event.person))
        if seat is not None and not seat.left:
            await turn.act(round_, Leave(BOT, seat.member))


async def _person_changed(turn: Turn, event: Inbound, what: PersonChanged) -> Reply:
    before = await turn.uow.member(event.place.tenant, what.person.id)
    if before is None:
        return Reply()
    await people.known(turn.uow, event.place.tenant, what.person)
    if what.person.is_gone:
        heads = await turn.uow.heads(event.place.tenant, member=what.person.id)
        await _leave_all(turn, event, [h.id for h in heads])
        await ownership.left(turn, event.place.tenant, what.person.id)
    elif what.person.zone and before.zone != what.person.zone:
        await personal.zone_reported(turn, before, what.person.zone)
    return Reply()


async def _channel_lost(turn: Turn, event: Inbound, what: ChannelLost) -> Reply:
    for head in await turn.uow.heads(event.place.tenant, channel=event.place.id):
        round_ = await turn.round(head.id)
        if round_.step is not Step.SETUP and round_.paused is None:
            await turn.act(round_, Pause(BOT, answers.LOST[what.reason]))
        turn.answer(round_.tenant, round_.roles.acting(Role.FACILITATOR), answers.channel_lost(round_, what.reason))
    return Reply()


EARS: dict[type, Ear] = {
    Said: _said,
    Edited: _edited,
    Erased: _erased,
    Commanded: _commanded,
    HomeOpened: _home,
    Pressed: presses.pressed,
    Submitted: submissions.submitted,
    Reacted: _reacted,
    Joined: _joined,
    Left: _left,
    PersonChanged: _person_changed,
    ChannelLost: _channel_lost,
}
