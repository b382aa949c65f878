"""A plan or a precedent that somebody has begun and not handed in: theirs alone, kept as it was typed, so that no form
that is refused, put away or too late takes it along. It goes when it is handed in, and with its step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import BeginningId, MemberId, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Begun, Kind, Round
from coldframe.domain.texts import optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class KeepPage(Command):
    """The page as far as it is typed; `id` is for one that is new."""

    id: BeginningId
    kind: Kind
    of: str
    fields: Mapping[str, str]


class DropPage(Command):
    id: BeginningId


# --- what becomes true ---


class PageKept(Fact):
    private = True
    id: BeginningId
    begun: Begun


class PageDropped(Fact):
    private = True
    id: BeginningId
    begun: Begun


# --- rulings ---

STEPS: Mapping[Kind, Step] = {"precedent": Step.PRECEDENTS, "plan": Step.PLANS}
KINDS: Mapping[Step, Kind] = {step: kind for kind, step in STEPS.items()}
MOST_FIELDS, MOST, LONGEST_NAME = 30, 3000, 100  # fields; characters of each, and of its name


def keep(round_: Round, command: KeepPage, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.BEGIN)
    checks.in_step(round_, STEPS[command.kind])
    if len(command.fields) > MOST_FIELDS or not all(map(_is_name, (command.of, *command.fields))):
        raise Refused(Because.UNKNOWN_ITEM)
    typed = {name: optional(text, MOST, field=name) for name, text in command.fields.items()}
    known = found(round_, command.by, command.kind, command.of)
    begun = Begun(command.by, command.kind, command.of, typed, known[1].likely if known else ())
    if known is None:
        return (PageKept(command.id, begun),)
    return () if known[1] == begun else (PageKept(known[0], begun),)


def _is_name(text: str) -> bool:
    """Names of fields and ids come with the form, so anybody may have written something else there."""
    return len(text) <= LONGEST_NAME and text.isascii() and text.isprintable()


def drop(round_: Round, command: DropPage, now: datetime) -> Facts:
    begun = round_.begun.get(command.id)
    checks.own(round_, begun, command.by, Act.BEGIN)
    assert begun is not None
    return (PageDropped(command.id, begun),)


def found(round_: Round, member: MemberId, kind: Kind, of: str) -> tuple[BeginningId, Begun] | None:
    """What this person has begun of the kind: a new one, or of the plan or trial that it is to take the place of."""
    mine = ((i, b) for i, b in round_.begun.items() if (b.author, b.kind, b.of) == (member, kind, of))
    return next(mine, None)


def of_member(round_: Round, member: MemberId, kind: Kind) -> dict[BeginningId, Begun]:
    return {i: begun for i, begun in round_.begun.items() if (begun.author, begun.kind) == (member, kind)}


# --- evolve ---


def page_kept(round_: Round, fact: PageKept) -> Round:
    return replace(round_, begun={**round_.begun, fact.id: fact.begun})


def page_dropped(round_: Round, fact: PageDropped) -> Round:
    return replace(round_, begun={i: begun for i, begun in round_.begun.items() if i != fact.id})


def handed_in(round_: Round, member: MemberId | None, kind: Kind, of: str) -> Round:
    """What was begun stands elsewhere from now on."""
    begun = {i: b for i, b in round_.begun.items() if (b.author, b.kind, b.of) != (member, kind, of)}
    return replace(round_, begun=begun)


def over(round_: Round, kind: Kind) -> Round:
    """Its step is over."""
    return replace(round_, begun={i: begun for i, begun in round_.begun.items() if begun.kind != kind})


def without(round_: Round, gone: MemberId) -> Round:
    return replace(round_, begun={i: begun for i, begun in round_.begun.items() if begun.author != gone})


DECIDE: Decide = {KeepPage: keep, DropPage: drop}
EVOLVE: Evolve = {PageKept: page_kept, PageDropped: page_dropped}
