"""What strikes somebody while they read, and what of a precedent their plan takes over."""

from __future__ import annotations

from coldframe.domain.names import MemberId
from coldframe.domain.round.jotting import PAGE
from coldframe.domain.round.questions import OPENING
from coldframe.domain.state import Plan, Precedent, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Field, Form, Line, Option, Quoted, line
from coldframe.message.saying import paragraph
from coldframe.speech.names import about


def button(round_: Round) -> Button:
    return Button("Jot something down …", "jot.write", about(round_), says="Jot down, for myself, what struck me")


def form(round_: Round, member: MemberId) -> Form:
    text = Field(
        "text",
        "What struck you",
        "long",
        required=False,
        most=PAGE,
        initial=round_.jottings.get(member, ""),
        hint="Only you ever read it. It is there again when you write a plan, and gone when plans are revealed.",
    )
    return Form("My own page", "jot.write", about(round_), (text,), submit="Keep it")


def jotted(round_: Round, member: MemberId) -> list[Block]:
    """What struck this person while reading, for them alone."""
    text = round_.jottings.get(member, "")
    if not text:
        return []
    return [paragraph("What struck you while reading; only you see it:"), Quoted(theirs(text, 2000).text)]


def borrows(round_: Round, found: Plan | None) -> tuple[Field, ...]:
    """The precedent whose idea the plan takes over; its page names it. What was told for its question comes first."""
    if not round_.precedents:
        return ()
    first_of_its = sorted(round_.precedents, key=lambda p: found is None or p.question != found.question)
    options = (Option("", "none of them"), *(Option(p.id, _with_its_question(round_, p)) for p in first_of_its))
    first = found.borrows if found and found.borrows in {p.id for p in round_.precedents} else ""
    return (Field("borrows", "Borrows from", "choice", required=False, options=options, initial=first),)


def _with_its_question(round_: Round, precedent: Precedent) -> str:
    """Where there are several questions, the one that it was told for is named with it."""
    if len(round_.questions) < 2:
        return theirs(precedent.title, 70).text
    asked = next((q.text for q in round_.questions if q.id == precedent.question), "")
    gist = asked[len(OPENING) :].strip() if asked.casefold().startswith(OPENING) else asked
    return f"{theirs(precedent.title, 44).text} · {theirs(gist, 28).text}" if gist else theirs(precedent.title, 70).text


def principle(precedent: Precedent) -> Line:
    """The idea that a plan takes over, with where it comes from."""
    return line("“{t}”: {idea}", t=theirs(precedent.title, 150), idea=theirs(precedent.idea, 300))
