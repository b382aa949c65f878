"""The audit trail: what became true, without what was given in confidence."""

from __future__ import annotations

import json

from coldframe.domain.facts import Fact
from coldframe.domain.names import Step
from tests.domain.play import EVERYBODY, Play

PRIVATE = {
    "MemberDone", "NoteWritten", "NoteEdited", "NoteWithdrawn", "DraftKept", "DraftDropped", "ConsentAsked",
    "Consented", "LateNoteKept", "LateNoteSettled", "LateNotesPosted", "VoteCast", "VoteTakenBack", "BallotLocked",
    "LedgerReconciled",
    "PlanHandedIn", "PlanWithdrawn", "Compared", "ForecastGiven", "DigitsSeen", "PersonForgotten", "DecisionHeld",
    "ComparisonTakenBack",
    "Jotted", "PageKept", "PageDropped", "CautionsFound", "SaidNotSo", "EarlierFound", "LeversOrdered",
    "PageOrdered",
}  # fmt: skip


def test_what_is_given_in_confidence_is_a_private_fact() -> None:
    """Notes, drafts, consent, votes, plans, comparisons, forecasts and being done are told to nobody."""
    kinds = {kind for kind in Fact.__subclasses__() if ".trial." not in kind.__module__}
    assert {k.__name__ for k in kinds if k.private} == PRIVATE


def test_a_private_fact_leaves_its_name_and_nothing_else() -> None:
    """No id, no person, no text of it is kept."""
    play = Play().to(Step.COMMITTED)
    records = [(x, x.public_record()) for x in play.facts]
    assert {x.private for x, _ in records} == {True, False}
    assert all(r == {"fact": type(x).__name__} for x, r in records if x.private)


def test_the_trail_is_plain_and_holds_no_text() -> None:
    """Every record is JSON of ids and numbers; no note, title, reason or name of a person is in it."""
    play = Play().to(Step.COMMITTED)
    trail = json.dumps([x.public_record() for x in play.facts])
    for text in (
        "Text of",
        "Title of",
        "leaks most",
        "How might we",
        "rang new readers",
        *(m.title() for m in EVERYBODY),
    ):
        assert text not in trail
    assert '"trials": 1' in trail
