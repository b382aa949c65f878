"""Why two notes may be the same point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from coldframe.analysis.likeness import Alike
from coldframe.domain.round.merging import SAID
from coldframe.domain.state import MergeProposal
from coldframe.message.nodes import Line, line

BY_HAND = "joined by hand"
BY_SOMEBODY = "somebody in the team says that it is"
NO_NUMBER = "none"
WORDS: Mapping[str, str] = {
    Alike.SAME: "the same words",
    Alike.WRITTEN_DIFFERENTLY: "the same words, written differently",
    Alike.ORDER_OR_ENDINGS: "only word order or endings differ",
    Alike.ALL_MATCHED: "every word that matters has its match",
    Alike.LETTERS: "almost the same letters",
    Alike.SHARED: "both say {words}",
    Alike.NEAR_SPELT: "near-spelt: {words}",
    Alike.SAME_MEANING: "same meaning: {words}",
    Alike.SMALL_WORDS: "small words and letters in common",
    Alike.NOTHING_SHARED: "no word in common",
    Alike.CLOSE: "close in meaning ({words})",
    Alike.SOMEWHAT_CLOSE: "somewhat close in meaning ({words})",
    Alike.NUMBERS_DIFFER: "but numbers differ: {words}",
    Alike.ONE_NEGATED: "but only one of them is negated",
}


OBJECTIONS = (Alike.NUMBERS_DIFFER, Alike.ONE_NEGATED)
TELLING = (
    SAID.kind, Alike.SAME, Alike.WRITTEN_DIFFERENTLY, Alike.ORDER_OR_ENDINGS, Alike.SHARED, Alike.NEAR_SPELT,
    Alike.SAME_MEANING, Alike.ALL_MATCHED, Alike.LETTERS, Alike.CLOSE, Alike.SOMEWHAT_CLOSE,
)  # fmt: skip
"""What people can look at comes before what has to be believed."""
LIKELY = 0.8
"""How probable one point must be to be called likely."""


def question(proposal: MergeProposal) -> Line:
    """How sure it is in plain words; nothing of it where people said it."""
    if isinstance(proposal.why, str) or SAID in proposal.why:
        return line("Same point, or different?")
    sure = "Likely" if proposal.score >= LIKELY else "Perhaps"
    return line("{sure} the same point.", sure=sure)


class Told(Protocol):
    @property
    def kind(self) -> str: ...
    @property
    def words(self) -> tuple[str, ...]: ...


def why(reasons: Sequence[Told] | str) -> str:
    """The reasons for a pair and what speaks against it, parted by semicolons; a sentence of an older database as it
    stands."""
    if isinstance(reasons, str):
        return reasons or BY_HAND
    return "; ".join(_one(reason) for reason in reasons if reason.kind in (*WORDS, SAID.kind))


def why_in_short(reasons: Sequence[Told] | str) -> str:
    """The one reason that says most, and what speaks against it; without figures, which mean nothing in a chat."""
    if isinstance(reasons, str):
        return why(reasons)
    objections = [reason for reason in reasons if reason.kind in OBJECTIONS]
    grounds = [reason for reason in reasons if reason.kind not in OBJECTIONS]
    telling = next((reason for kind in TELLING for reason in grounds if reason.kind == kind), None)
    said = [telling, *objections] if telling else [reason for reason in reasons if reason.kind in WORDS]
    return "; ".join(_one(reason, figures=False) for reason in said)


def _one(reason: Told, *, figures: bool = True) -> str:
    if reason.kind == SAID.kind:
        return BY_SOMEBODY
    if reason.kind in (Alike.CLOSE, Alike.SOMEWHAT_CLOSE) and not figures:
        return WORDS[reason.kind].removesuffix(" ({words})")
    if reason.kind == Alike.NUMBERS_DIFFER:
        words = " and ".join(number or NO_NUMBER for number in reason.words)
    else:
        words = ", ".join(reason.words)
    return WORDS[reason.kind].replace("{words}", words)
