"""What the bot asks of a writer of notes: one sheet with all levers, the writer's own notes, and how to add to them."""

from __future__ import annotations

from coldframe.domain.names import LeverId, MemberId, Side, Step
from coldframe.domain.round.notes import looks_long
from coldframe.domain.state import Note, Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Code, Line, Message, Paragraph, line, plain
from coldframe.message.saying import offer, paragraph, small
from coldframe.speech.names import about, count
from coldframe.speech.round import paging
from coldframe.speech.round.guide_words import guided
from coldframe.speech.round.prompts import card, done, until

SHOWN = 300  # characters of a note
SIGNS = {Side.RESTRAINING: "−", Side.DRIVING: "+"}
ONE_SIDED = 3  # notes, all of one direction, at which the other one is asked for


def sheet(round_: Round, member: MemberId, page: int | str | None = 0) -> Message:
    """The ask, what the writer has given so far, how to give more, until when. `page` may be a note that stands on it;
    None: all of it."""
    every, page = paging.shown(_pages(round_, member), page)
    blocks: list[Block] = [
        paragraph(written(round_.settings.question, 300)),
        paragraph("What holds us back, and what drives us? One idea a note. Things we should stop doing count too."),
        *_own(round_, member, every[page]),
        *paging.turning(round_, "note.page", page, every),
        offer(*(_add(round_, lever, name) for lever, name in round_.settings.levers)),
        small(_by_lines(round_)),
        paragraph(until(round_, member)),
        small("Nobody sees your notes before the reveal. Even unsigned, their style may give you away."),
        *(small(tick) for tick in _ticks(round_, member)),
        offer(done(round_, member, main=bool(_mine(round_, member)))),
    ]
    summary = line("{name}: what holds us back, and what drives us? ", name=theirs(round_.name, 60))
    return guided(round_, member, card(round_, Step.NOTES, *blocks, summary=summary + until(round_, member)))


def page_of(round_: Round, member: MemberId, note: str) -> int:
    """On which page the writer finds a note; the last, where it is no more."""
    return paging.page_of(_pages(round_, member), note)


def _mine(round_: Round, member: MemberId) -> list[Note]:
    """By lever, in the order of writing."""
    mine = [n for n in round_.notes.values() if n.author == member]
    return [n for lever, _ in round_.settings.levers for n in mine if n.lever == lever]


def _pages(round_: Round, member: MemberId) -> paging.Pages:
    return paging.pages(((n.id, _note_line(n)) for n in _mine(round_, member)), 2)


def listed(round_: Round, member: MemberId, most: int) -> list[Block]:
    """The writer's own notes with their buttons, beside the sheet; so many of them."""
    mine = _mine(round_, member) if round_.step is Step.NOTES else []
    left = len(mine) - most
    more = [small("{n} on your sheet in our direct messages.", n=count(left, "more note"))] if left > 0 else []
    return [*_own(round_, member, tuple(note.id for note in mine[:most])), *more]


def _own(round_: Round, member: MemberId, page: paging.Page) -> list[Block]:
    mine = _mine(round_, member)
    blocks: list[Block] = [Paragraph(line("*Your notes: {n}*", n=len(mine)), mark="count")] if mine else []
    above: LeverId | None = None
    for note in (n for n in mine if n.id in page):
        if note.lever != above:
            above = note.lever
            blocks.append(paragraph("*{lever}*", lever=theirs(round_.settings.lever_name(note.lever), 60)))
        blocks.append(paragraph(_note_line(note)))
        if looks_long(note.text):
            blocks.append(small("More than one idea? Shorten it to the first, and add the other as a note of its own."))
        blocks.append(offer(*_note_buttons(round_, note)))
    return blocks


def _note_line(note: Note) -> Line:
    return line("{sign} {text}", sign=SIGNS[note.side], text=theirs(note.text, SHOWN))


def _note_buttons(round_: Round, note: Note) -> tuple[Button, ...]:
    key, short = about(round_, note.id), theirs(note.text, 40).text
    return (
        Button("Change …", "note.edit", key, says=f"Change the note: {short}"),
        Button("Withdraw", "note.withdraw", key, says=f"Withdraw the note: {short}"),
    )


def _add(round_: Round, lever: LeverId, name: str) -> Button:
    return Button(
        f"Add to {theirs(name, 40).text} …", "note.write", about(round_, lever), says=f"Write a note on {name}"
    )


def _by_lines(round_: Round) -> Line:
    (lever, name), *others = round_.settings.levers
    if not others:
        return line("Or reply in this thread, one idea a line: `-` holds us back, `+` helps.")
    short = plain(written(name, 40)).lower() if name else lever
    return line(
        "Or reply in this thread, an idea a line: {back} (holds us back), {helps} (helps).",
        back=Code(f"- {short}: …"),
        helps=Code(f"+ {short}: …"),
    )


def _ticks(round_: Round, member: MemberId) -> list[Line]:
    """What the writer has done, and what may be missing in it."""
    mine = _mine(round_, member)
    sides = {n.side for n in mine}
    found: list[Line] = []
    if len(mine) >= ONE_SIDED and sides == {Side.RESTRAINING}:
        found.append(line("All of yours hold us back. Is there something that helps, too?"))
    if len(mine) >= ONE_SIDED and sides == {Side.DRIVING}:
        found.append(line("All of yours help. Is there something that holds us back, too?"))
    if member in round_.progress.done:
        given = count(len(mine), "note") if mine else "no note"
        found.append(line("✓ You're done, with {given}. You can change that until the reveal.", given=given))
    return found
