"""Notes: everybody writes in private, lists them, and agrees to their being shown when few wrote."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import LeverId, MemberId, NoteId, Role, Side, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import rules
from coldframe.domain.round.notes import (
    Consent,
    ConsentAsked,
    DropDraft,
    EditNote,
    NoteEdited,
    NoteWithdrawn,
    NoteWritten,
    Revealed,
    WithdrawNote,
    WriteNote,
)
from coldframe.domain.state import Round
from coldframe.engine.core import timetable
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, acts, opens
from coldframe.engine.core.sent_form import FieldError
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import funnel, leftovers
from coldframe.engine.round.steps.play import Asking, Reads, StepPlay, post_card
from coldframe.message.nodes import Form, Message
from coldframe.speech import answers
from coldframe.speech.register import register_words, story_words
from coldframe.speech.round import cards, commitment_words, forms, late_words, notes_words, prompts, results

SHEET = "ask"
"""A writer's sheet."""

# --- opening ---


async def _open(turn: Turn, round_: Round) -> None:
    name = turn.say(round_, "opened", cards.round_opened(round_, await timetable.rows(turn.uow, turn.now, round_)))
    file = commitment_words.calendar_of_round(round_)
    turn.attach(f"{name}/calendar", turn.channel(round_), file, round_.id)
    story = await leftovers.story(turn.uow, round_.tenant, round_.channel)
    if story is not None:
        turn.say(round_, "readback", story_words.read_back(story))
        for member in (m for m in rules.expected(round_) if m not in story.people):
            turn.answer(round_.tenant, member, story_words.to_somebody_new(story), about=round_, ask=True)
    post_card(turn, round_)
    if await funnel.are_missing(turn, round_):
        ask = register_words.ask_for_numbers(round_.acting_name(Role.DECISION_MAKER), round_.channel)
        turn.tell(round_, round_.roles.acting(Role.FACILITATOR), "numbers", ask)
    await ASKING.everybody(turn, round_)


async def _ask(turn: Turn, round_: Round, member: MemberId) -> None:
    """One sheet for all levers, on which the person's own notes stand too."""
    turn.tell(round_, member, SHEET, notes_words.sheet(round_, member), rest=(Step.NOTES.value,))


# --- buttons and forms ---


def _note_form(request: RoundRequest) -> Form:
    return forms.note(request.round, LeverId(request.parts[0]) if request.parts else None)


def _edit_form(request: RoundRequest) -> Form:
    note = request.round.notes.get(NoteId(request.part(0)))
    if note is None or note.author != request.by:
        raise Refused(Because.NOT_YOURS)
    return forms.note_edit(request.round, note.id)


async def _write(request: RoundRequest) -> None:
    """Several lines become several notes, as the form says."""
    lever, side = LeverId(request.text("lever")), request.text("side")
    if side not in list(Side):
        raise FieldError("side", answers.ONE_OF_TWO_SIDES)
    await request.turn.act_all(
        request.round, _notes(request, lever, Side(side), _lines(request.text("text")) or [""], "")
    )


def _lines(text: str) -> list[str]:
    return [piece.strip() for piece in text.split("\n") if piece.strip()]


def _notes(request: RoundRequest, lever: LeverId, side: Side, pieces: list[str], origin: str) -> list[WriteNote]:
    ids = [NoteId(request.turn.kit.ids.new("n")) for _ in pieces]
    return [WriteNote(request.by, i, lever, side, piece, origin) for i, piece in zip(ids, pieces, strict=True)]


async def _page(request: RoundRequest) -> None:
    _show(request.turn, request.round, request.by, request.number(0))


async def _consent(request: RoundRequest) -> None:
    """In the place of the question."""
    round_ = await request.act(Consent(request.by))
    request.turn.revise_own(round_, request.by, "consent", answers.consent_kept())


async def _place_draft(request: RoundRequest) -> None:
    """The writer has said where a text belongs: it becomes one note, or one for each line."""
    draft = request.round.drafts.get(NoteId(request.part(0)))
    if draft is None or draft.author != request.by:
        raise Refused(Because.UNKNOWN_ITEM)
    lever, side, amount = LeverId(request.part(1)), request.part(2), request.part(3)
    if side not in list(Side):
        raise Refused(Because.UNKNOWN_ITEM)
    pieces = _lines(draft.text) if amount == "each" else [draft.text]
    notes = _notes(request, lever, Side(side), pieces, draft.origin)
    round_ = await request.turn.act_all(request.round, [*notes, DropDraft(request.by, draft.id)])
    request.turn.revise_own(round_, request.by, "draft", answers.draft_placed(len(pieces)), draft.id)


async def _drop_draft(request: RoundRequest) -> None:
    draft = NoteId(request.part(0))
    round_ = await request.act(DropDraft(request.by, draft))
    request.turn.revise_own(round_, request.by, "draft", answers.draft_dropped(), draft)


# --- what follows ---


async def _written(turn: Turn, before: Round, after: Round, fact: NoteWritten) -> None:
    assert fact.note.author is not None
    _show(turn, after, fact.note.author, fact.note.id)


async def _changed(turn: Turn, before: Round, after: Round, fact: NoteEdited | NoteWithdrawn) -> None:
    """At the page on which it stood."""
    author = before.notes[fact.note].author
    assert author is not None
    _show(turn, after, author, notes_words.page_of(before, author, fact.note))


def _own_sheet(turn: Turn, round_: Round, member: MemberId) -> None:
    _show(turn, round_, member, 0)


def _show(turn: Turn, round_: Round, member: MemberId, page: int | str) -> None:
    turn.revise_own(round_, member, SHEET, notes_words.sheet(round_, member, page), Step.NOTES.value)


async def _consent_asked(turn: Turn, before: Round, after: Round, fact: ConsentAsked) -> None:
    for writer in fact.writers:
        turn.tell(after, writer, "consent", prompts.ask_consent(after, len(fact.writers)), only_in=Step.NOTES)
    turn.among(len(fact.writers), after.active())
    turn.answer(
        after.tenant, after.roles.acting(Role.FACILITATOR), late_words.few_writers(after), about=after, ask=True
    )


async def _revealed(turn: Turn, before: Round, round_: Round, fact: Revealed) -> None:
    turn.say(round_, "reveal", results.revealed(round_))
    for lever, _ in round_.settings.levers:
        turn.say(round_, "lever", results.reveal(round_, lever), rest=(lever,))


# --- as they read now ---


def _consent_again(round_: Round, rest: tuple[str, ...]) -> Message:
    return prompts.ask_consent(round_, len({note.author for note in round_.notes.values()}))


READS: Mapping[str, Reads] = {
    SHEET: lambda round_, rest: notes_words.sheet(round_, MemberId(rest[0])),
    "draft": lambda round_, rest: answers.which_note(round_, round_.drafts[NoteId(rest[1])]),
    "consent": _consent_again,
    "late": lambda round_, rest: late_words.late_note(round_, round_.late_notes[NoteId(rest[1])]),
}
FORMS: Mapping[str, RoundAnswer] = {"note.write": _write}
"""A note that comes after the reveal is kept as a late one, in any step."""
ASKING = Asking(SHEET, (Step.NOTES.value,), _ask)
PLAY = StepPlay(
    open=_open, asking=ASKING, desk=None, own_card=_own_sheet, reads=READS, card_follows=False,
    buttons={
        "note.write": opens(_note_form),
        "note.page": _page,
        "note.edit": opens(_edit_form),
        "note.withdraw": acts(lambda r: WithdrawNote(r.by, NoteId(r.part(0)))),
        "note.consent": _consent,
        "draft.place": _place_draft,
        "draft.drop": _drop_draft,
    },
    forms={"note.edit": acts(lambda r: EditNote(r.by, NoteId(r.part(0)), r.text("text")))},
    follow={
        NoteWritten: _written,
        NoteEdited: _changed,
        NoteWithdrawn: _changed,
        ConsentAsked: _consent_asked,
        Revealed: _revealed,
    },
    due={},
    whole={SHEET: lambda round_, rest: notes_words.sheet(round_, MemberId(rest[0]), None)},
)  # fmt: skip
