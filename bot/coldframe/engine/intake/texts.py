"""A private text: the round that it belongs to, what becomes of it there, and one question where several fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.domain.commands import Command
from coldframe.domain.names import LeverId, MemberId, NoteId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.notes import KeepDraft, WriteNote
from coldframe.domain.round.pages import KINDS
from coldframe.domain.round.questions import OPENING, SuggestQuestion
from coldframe.domain.state import Draft, Note, Round
from coldframe.domain.who_may import Act
from coldframe.engine.core import access, lives
from coldframe.engine.core.requests import Answers, RoundRequest, of_round
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import note_lines
from coldframe.engine.round import pages
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName, Origin
from coldframe.ports.chat import Edited, Inbound, Place, Reply, Said
from coldframe.ports.storage import Posted, RoundHead
from coldframe.speech import answers


async def heard(turn: Turn, event: Inbound, what: Said, posted: Posted | None, lever: LeverId | None) -> Reply:
    """Takes the text for the round in whose thread it stands, else for the only one that it fits; of several it asks
    which, and of none it says so. Raises Refused."""
    if posted is not None and posted.round_id is not None:
        await take_notes(turn, event, await turn.round(posted.round_id), what.text, origin_of(what), lever)
        return Reply()
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    started = [h for h in heads if h.step is not Step.SETUP]
    fitting = _fitting(started, what.text)
    if len(fitting or started) == 1:
        await _take(turn, event, await turn.round((fitting or started)[0].id), what.text, origin_of(what), lever)
    elif fitting:
        words = answers.which_round(_named(fitting), what.message, what.text)
        turn.answer(event.place.tenant, event.person, words, name=WHICH_ROUND.name(event.person, what.message))
    else:
        words = answers.no_round_takes(_named(started), what.text) if started else answers.no_round()
        turn.answer(event.place.tenant, event.person, words)
    return Reply()


def _fitting(heads: Sequence[RoundHead], text: str) -> list[RoundHead]:
    """A text may be a note; one that begins like a question may be a wording for one as well. Where it can be neither,
    it may be a precedent or a plan."""
    steps = (Step.NOTES, Step.QUESTIONS) if is_question(text) else (Step.NOTES,)
    return [h for h in heads if h.step in steps] or [h for h in heads if h.step in KINDS]


def _named(heads: Sequence[RoundHead]) -> list[tuple[str, str]]:
    return [(h.id, h.name) for h in heads]


async def _take(turn: Turn, event: Inbound, round_: Round, text: str, origin: str, lever: LeverId | None) -> None:
    if round_.step is Step.QUESTIONS and is_question(text):
        await _suggest(turn, event, round_, text)
    else:
        await take_notes(turn, event, round_, text, origin, lever)


# --- the question which round is meant ---


@dataclass(frozen=True, slots=True)
class Asked:
    """A question about a message: which round it is for, or whether one in a channel shall be taken in private."""

    what: str
    edition: str
    """From which edition a note is made by the answer."""

    def name(self, person: str, message: str) -> str:
        return MessageName(self.what, person, (message,)).pack()


WHICH_ROUND = Asked(lives.WHICH, "")


async def _chosen(request: RoundRequest) -> Reply:
    return await taken(request, WHICH_ROUND, answers.text_taken(request.round))


def _carried(request: RoundRequest) -> str:
    """The text that the button holds. Older ones hold it as it was written, a "|" in it included."""
    return "|".join(request.parts[1:])


async def taken(request: RoundRequest, asked: Asked, outcome: Message) -> Reply:
    """Takes the text for the round of the button, once. Where it fits no longer, the question with the text stays."""
    message, text = request.part(0), _carried(request)
    if request.round.step not in (Step.NOTES, Step.QUESTIONS if is_question(text) else Step.NOTES, *KINDS):
        raise Refused(Because.TOO_LATE, step=request.round.step, wanted=Step.NOTES)
    for other in await rounds_in_notes(request.turn, request.event):
        if any(from_message(other, request.by, message)):
            request.answer(answers.text_taken_already(other))
            return Reply()
    origin = Origin(message, asked.edition).pack()
    await _take(request.turn, request.event, request.round, text, origin, None)
    settle(request.turn, request.event, asked, message, outcome)
    return Reply()


async def _dropped(request: RoundRequest) -> Reply:
    settle(request.turn, request.event, WHICH_ROUND, request.part(0), answers.draft_dropped())
    return Reply()


def settle(turn: Turn, event: Inbound, asked: Asked, message: str, words: Message) -> None:
    """The question goes, and its buttons with it."""
    place = Place(event.place.tenant, "direct", event.person)
    turn.revise(asked.name(event.person, message), place, words)


async def _is_asked(turn: Turn, event: Inbound, message: str) -> bool:
    return event.place.kind == "direct" and await turn.uow.knows_message(WHICH_ROUND.name(event.person, message))


async def asked_anew(turn: Turn, event: Inbound, what: Edited) -> bool:
    """A message that still waits for its round was changed: the newest text counts."""
    if not await _is_asked(turn, event, what.message):
        return False
    fitting = _fitting(await turn.uow.heads(event.place.tenant, member=event.person), what.text)
    if fitting:
        settle(turn, event, WHICH_ROUND, what.message, answers.which_round(_named(fitting), what.message, what.text))
    return bool(fitting)


async def thrown_away(turn: Turn, event: Inbound, message: str) -> bool:
    """A message that still waits for its round was deleted."""
    asked = await _is_asked(turn, event, message)
    if asked:
        settle(turn, event, WHICH_ROUND, message, answers.draft_dropped())
    return asked


BUTTONS: Answers = {
    **of_round({"text.take": _chosen}, (Step.NOTES, Step.QUESTIONS, *KINDS)),
    **of_round({"text.drop": _dropped}, tuple(Step)),
}


# --- wordings for questions ---


def is_question(text: str) -> bool:
    return text.lower().lstrip().startswith(OPENING)


async def suggested(turn: Turn, event: Inbound, what: Said, posted: Posted | None) -> Round | None:
    """A wording for a question, from anybody of a round whose questions are being written; it goes to the facilitator.

    Channels are not read everywhere: there it takes the bot's name before it. Raises Refused.
    """
    round_ = await _round_in_questions(turn, event, posted) if is_question(what.text) else None
    if round_ is None or not (what.mentioned or event.person in round_.seats):
        return None
    return await _suggest(turn, event, round_, what.text)


async def _suggest(turn: Turn, event: Inbound, round_: Round, text: str) -> Round:
    access.to_round(turn, event, round_, Act.SUGGEST)
    round_ = await turn.act(round_, SuggestQuestion(MemberId(event.person), text))
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


# --- notes ---


def origin_of(what: Said | Edited) -> str:
    return Origin(what.message, what.edition).pack()


async def take_notes(turn: Turn, event: Inbound, round_: Round, text: str, origin: str, lever: LeverId | None) -> None:
    """A private text becomes notes as far as it is clear; the rest is kept as a draft and asked about once."""
    member = MemberId(event.person)
    access.to_round(turn, event, round_, Act.WRITE)
    pieces = note_lines.read_notes(text, round_.settings.levers, lever)
    if not pieces:
        raise Refused(Because.EMPTY, field="text")
    if not any(h.clear for h in pieces) and await pages.begun_by_text(turn, round_, member, text) is not None:
        return
    await keep(turn, round_, member, pieces, origin)


async def keep(
    turn: Turn,
    round_: Round,
    member: MemberId,
    heard: Sequence[note_lines.Heard],
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
    draft = NoteId(turn.kit.ids.new("d"))
    if unclear and round_.step is Step.NOTES:
        said = (unclear[0].lever, unclear[0].side, unclear[0].lever_tried)
        round_ = await turn.act_all(round_, [*commands, KeepDraft(member, draft, text, origin, *said)])
        _ask_back(turn, round_, round_.drafts[draft])
        return
    round_ = await turn.act_all(round_, commands)
    if unclear:
        turn.answer(round_.tenant, member, answers.not_a_time_for_notes(round_, text))


def _ask_back(turn: Turn, round_: Round, draft: Draft) -> None:
    """One question with buttons; the text waits as a draft, sealed like a note."""
    words = answers.which_note(round_, draft)
    turn.tell(round_, draft.author, "draft", words, rest=(draft.id,), only_in=Step.NOTES)


def from_message(round_: Round, member: MemberId, message: str) -> tuple[list[Note], list[Draft]]:
    """What this person's chat message became: notes, and what was not clear in it."""
    mine = [n for n in round_.notes.values() if n.author == member and Origin.unpack(n.origin).message == message]
    drafts = [d for d in round_.drafts.values() if d.author == member]
    return mine, [d for d in drafts if Origin.unpack(d.origin).message == message]


async def rounds_in_notes(turn: Turn, event: Inbound) -> list[Round]:
    if event.place.kind != "direct":
        return []
    heads = await turn.uow.heads(event.place.tenant, member=event.person)
    return [await turn.round(h.id) for h in heads if h.step is Step.NOTES]
