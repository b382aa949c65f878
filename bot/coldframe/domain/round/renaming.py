"""New names for what is revealed. Under its old name a thing was given by somebody: whoever could tell the old one of
the new, from an older copy or an open form, would know who wrote what everybody reads."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from coldframe.domain.facts import Fact
from coldframe.domain.names import LateChoice, NoteId, PlanId
from coldframe.domain.round.commitment import Committed
from coldframe.domain.round.moves import RoundCancelled
from coldframe.domain.round.notes import Revealed
from coldframe.domain.round.plans import PlansRevealed
from coldframe.domain.round.revealed_notes import LateNoteSettled, LateNotesPosted
from coldframe.domain.state import Round

T = TypeVar("T", NoteId, PlanId)


def renamed(round_: Round, fact: Fact, chance: str) -> Fact:
    """The fact with new names for what it reveals or unsigns, in an order that follows from them alone. `chance` is
    fresh and kept nowhere; without any, names and order stay as they are."""
    rename = _RENAMED.get(type(fact))
    return fact if rename is None or not chance else rename(round_, fact, chance)


def _new(kind: Callable[[str], T], olds: Iterable[T], chance: str) -> dict[T, T]:
    return {old: kind(old[:1] + hashlib.sha256(f"{chance}\0{old}".encode()).hexdigest()[:16]) for old in olds}


def _revealed(round_: Round, fact: Revealed, chance: str) -> Fact:
    """Those that are not shown wait for a later round, under new names too."""
    names = _new(NoteId, round_.notes, chance)
    return replace(fact, order=tuple(sorted(names[note] for note in fact.order)), names=names)


def _plans_revealed(round_: Round, fact: PlansRevealed, chance: str) -> Fact:
    names = _new(PlanId, fact.order, chance)
    return replace(fact, order=tuple(sorted(names.values())), names=names)


def _settled(round_: Round, fact: LateNoteSettled, chance: str) -> Fact:
    if fact.choice is LateChoice.POST:
        return fact
    return replace(fact, name=_new(NoteId, [fact.note], chance)[fact.note])


def _posted(round_: Round, fact: LateNotesPosted, chance: str) -> Fact:
    return replace(fact, names=_new(NoteId, fact.notes, chance))


def _ended(round_: Round, fact: Committed | RoundCancelled, chance: str) -> Fact:
    unread = (note for note in (*round_.notes, *round_.late_notes) if note not in round_.revealed)
    return replace(fact, names=_new(NoteId, unread, chance))


_RENAMED: Mapping[type[Fact], Callable[[Round, Any, str], Fact]] = {
    Revealed: _revealed,
    PlansRevealed: _plans_revealed,
    LateNoteSettled: _settled,
    LateNotesPosted: _posted,
    Committed: _ended,
    RoundCancelled: _ended,
}
