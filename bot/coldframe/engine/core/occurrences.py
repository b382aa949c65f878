"""What of a trial a button or form was made for, and whether that is over."""

from __future__ import annotations

from coldframe.domain.names import MemberId
from coldframe.domain.trial import guarding, signing
from coldframe.domain.trial.state import OPEN_STEPS, Trial, TrialStep
from coldframe.message.nodes import Line
from coldframe.message.packed import ButtonValue, MadeFor, OfTrial
from coldframe.speech import over_words

OLDER: dict[str, OfTrial] = {
    "trial.tick": "action",
    "trial.move": "action",
    "trial.accept": "offer",
    "trial.decline": "offer",
    "trial.stop": "running",
    "trial.drop": "proposed",
}
"""What buttons of an older release were made for, which do not carry it."""


def made_for(action: str, value: ButtonValue) -> MadeFor:
    """What the value carries, else what such buttons are made for."""
    named = next(iter(value.rest), "")
    older = OLDER.get(action, "trial")
    return MadeFor.unpack(value.made_for) or MadeFor(older, named if older == "action" else "")


def over(trial: Trial, by: MemberId, occurrence: MadeFor) -> Line:
    """What became of it, to this person; nothing while it is open."""
    if occurrence.what in ("sign", "crossed"):
        return _question_over(trial, by, occurrence)
    if trial.step not in OPEN_STEPS:
        return over_words.trial_ended(trial)
    which = occurrence.which
    match occurrence.what:
        case "running" if trial.step is TrialStep.IN_REVIEW or trial.stopped:
            return over_words.in_review(trial)
        case "building" | "late" if trial.step is not TrialStep.BUILDING:
            return over_words.live(trial)
        case "late" if which != str(trial.live_agreed()):
            return over_words.decided_about_build(trial)
        case "proposed" if trial.step is not TrialStep.PROPOSED:
            return over_words.started(trial)
        case "week" if which.isdigit() and (entry := trial.entry(int(which))) is not None:
            return over_words.week_logged(trial, entry)
        case "action":
            return _action_over(trial, which)
        case "review" if which != str(trial.missed_reviews):
            return over_words.review_missed(trial)
        case "offer" if trial.asked != by or which not in ("", str(trial.offers)):
            return over_words.offer_settled(trial, by)
        case "owner" if which != (trial.owner or ""):
            return over_words.owner_changed(trial, by)
    return ()


def _question_over(trial: Trial, by: MemberId, occurrence: MadeFor) -> Line:
    if occurrence.what == "crossed":
        return () if guarding.undecided(trial) else over_words.crossing_settled(trial)
    asked = by in trial.asked_to_sign and occurrence.which == signing.asked_about(trial)
    return () if asked else over_words.signing_over(trial)


def _action_over(trial: Trial, action_id: str) -> Line:
    action = next((a for a in trial.actions if a.id == action_id), None)
    return over_words.action_done(trial, action) if action is not None and action.done is not None else ()
