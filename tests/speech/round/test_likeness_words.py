"""Why a merge is proposed, said from codes; what an earlier database holds is a sentence and stays one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coldframe.analysis.likeness import Alike
from coldframe.domain.names import NoteId
from coldframe.domain.state import Likeness, MergeProposal
from coldframe.speech.round.likeness_words import WORDS, why, why_in_short
from coldframe.store.rounds import from_rows, to_rows
from tests.domain.play import a_round


def test_every_reason_has_words() -> None:
    """None is left out of the question for want of a sentence."""
    assert set(WORDS) == set(Alike)


def test_reasons_are_said_with_their_words() -> None:
    """A number that only one of them names is said to be missing in the other."""
    reasons = (
        Likeness(Alike.SHARED, ("bill", "late", "…")),
        Likeness(Alike.CLOSE, ("0.71",)),
        Likeness(Alike.NUMBERS_DIFFER, ("3, 4", "")),
    )
    said = "both say bill, late, …; close in meaning (0.71); but numbers differ: 3, 4 and none"
    assert why(reasons) == said


def test_in_a_chat_the_most_telling_reason_is_said_and_what_speaks_against_it() -> None:
    """No figure of likeness, and no list of all that was looked at."""
    close, differ = Likeness(Alike.CLOSE, ("0.99",)), Likeness(Alike.NUMBERS_DIFFER, ("3", "4"))
    assert why_in_short((Likeness(Alike.ALL_MATCHED), Likeness(Alike.SHARED, ("bill", "late")), close)) == (
        "both say bill, late"
    )
    assert why_in_short((Likeness(Alike.NOTHING_SHARED), close, differ)) == (
        "close in meaning; but numbers differ: 3 and 4"
    )
    assert why_in_short("") == "joined by hand"


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        ("the same words, written differently", "the same words, written differently"),
        ("", "joined by hand"),
        ((Likeness(Alike.SAME),), "the same words"),
    ],
)
def test_a_round_reads_back_what_it_keeps_and_what_earlier_ones_kept(
    kept: str | tuple[Likeness, ...], said: str
) -> None:
    """Sentences of older databases go on to be shown."""
    proposal = MergeProposal(NoteId("n1"), NoteId("n2"), 0.9, kept)
    rows = to_rows(replace(a_round(6), proposals=(proposal,)))
    (read,) = from_rows(rows.doc, (), {}).proposals
    assert read == proposal and why(read.why) == said
