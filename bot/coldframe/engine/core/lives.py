"""How long each kind of message lives, and what becomes of it then: a table by the `what` of its name.

Of what one person has for one step one line is left at most: the sheet. A message that is not here is a record: it
offers nothing, holds nothing private, and stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Generic, TypeVar

from coldframe.domain.names import ENDS, RUNNING, MemberId, PlanId, Role, Step
from coldframe.domain.state import Round
from coldframe.domain.trial import guarding, signing
from coldframe.domain.trial.state import OPEN_STEPS, UNDER_WAY, Trial, TrialStep
from coldframe.message.nodes import Buttons, Message
from coldframe.message.packed import MessageName
from coldframe.ports.keys import OF_STEP, Covers, Use, is_of_an_act, said
from coldframe.ports.storage import Send

State = TypeVar("State", Round, Trial)
Rest = tuple[str, ...]
"""What stands in a name behind owner and `what`; of a private message the person comes first."""

PEOPLE = "people"
"""Owner of what belongs to no round and no trial: `people/what/person/id`."""
SAID, PAGE, REMINDED, HANDED, WHICH = "say", "page", "nudge", "handed", "which"
MEANT = "meant"  # the question whether a word was a command
"""A passing answer; how things stood; a reminder; a text handed back; the question what becomes of a text."""
FORM = "form"
"""A form that is filled in by words, where a platform has none."""
HOW_ON = "how on"
"""What shall become of a round that does not move by itself."""
PLACE, DIGEST = "place", "digest"
"""A place for a trial is free; how a team stands. Both `people/what/person/team/...`."""
LEFT, NEXT = "left over", "next"
"""What the round before left, to whoever sets the next one up; that the date of the next one has come."""
GUEST = "guest"
"""Whether a guest of the channel takes part."""
LATE, SCORE = "late", "score"
"""The question what becomes of a note that came late; what a forecast was worth."""
CROSSED = "crossed"
"""A harm limit or stop line is crossed, to whoever may decide about it."""
HELD = "held"
"""A decision that can still be undone, to whoever made it."""
SIGN = "sign"
"""Whether what somebody wrote is shown with their name, since too few others wrote."""
WAITS = frozenset({HANDED, WHICH, LATE, SCORE, SIGN, FORM})
"""What waits for an answer, or has told somebody something private, stands for some days at most."""
HANDED_BACK_FOR = timedelta(days=7)
SWEPT_AFTER = timedelta(minutes=5)
"""What was on its way to somebody who was forgotten, or a team that was erased, has arrived by then, or never will."""
TODO = "todo"
"""What somebody is asked to see done, of all that was decided in a team: `people/todo/person/team/...`."""
DECIDED = "decided"
"""What became of it, told to a team: `people/decided//team/...`."""
ERASE = "erase"
"""The question to a team whether all that is kept of it shall be erased: `people/erase//team/...`."""


class End(StrEnum):
    """What becomes of a message that is over."""

    LINE = "line"
    """One line: what became of it."""
    GONE = "gone"
    """Taken back, where the platform can; else the line."""
    READS = "reads"
    """A record that everybody has read: its words without what it offered."""


@dataclass(frozen=True, slots=True)
class Life(Generic[State]):
    """`lasts` says for how long; `holder` is the role by which somebody has it, until another one holds that. What
    `rests` can be pressed only while its round does not rest."""

    end: End
    lasts: Callable[[State, Rest], bool]
    holder: Role | None = None
    rests: bool = True


# --- how long ---------------------------------------------------------------------------------------------------------


def _in(*steps: Step) -> Callable[[Round, Rest], bool]:
    return lambda round_, rest: round_.step in steps


def _in_its_step(round_: Round, rest: Rest) -> bool:
    """The step stands in the name, behind whoever has the message."""
    return len(rest) > 1 and rest[1] == round_.step.value


def _in_its_card(round_: Round, rest: Rest) -> bool:
    return rest[:1] == (round_.step.value,)


def _while_chosen(round_: Round, rest: Rest) -> bool:
    return round_.step is Step.COMMITMENT and PlanId(rest[1]) in round_.choices


def _while_owned_to_be(round_: Round, rest: Rest) -> bool:
    return _while_chosen(round_, rest) and round_.choices[PlanId(rest[1])].owner == rest[0]


def _while_asked(round_: Round, rest: Rest) -> bool:
    return _while_chosen(round_, rest) and round_.choices[PlanId(rest[1])].asked == rest[0]


def _while_held(round_: Round, rest: Rest) -> bool:
    held = round_.decided()
    return held is not None and rest[1:] == (round_.step.value, held.at.isoformat())


def _late_note_waits(round_: Round, rest: Rest) -> bool:
    return any(note.id == rest[1] and note.author == rest[0] for note in round_.late_notes.values())


def _while_role_is_offered(round_: Round, rest: Rest) -> bool:
    offer = round_.role_offer(Role(rest[1]))
    return offer is not None and rest[0] in (offer.to, offer.by, round_.roles.acting(offer.role))


def _while_not_on_the_roster(round_: Round, rest: Rest) -> bool:
    return round_.step in (Step.SETUP, *RUNNING) and MemberId(rest[1]) not in round_.active()


def _until_it_ends(round_: Round, rest: Rest) -> bool:
    return round_.step in (Step.SETUP, *RUNNING)


def _has_ended(round_: Round, rest: Rest) -> bool:
    return round_.step in ENDS


def _while_it_does_not_move(round_: Round, rest: Rest) -> bool:
    return round_.paused is not None or round_.step is Step.SETUP


def _under_way(trial: Trial, rest: Rest) -> bool:
    return trial.step in UNDER_WAY


def _while_running(trial: Trial, rest: Rest) -> bool:
    return trial.step is TrialStep.RUNNING


def _in_review(trial: Trial, rest: Rest) -> bool:
    return trial.step is TrialStep.IN_REVIEW


def _while_offered(trial: Trial, rest: Rest) -> bool:
    return trial.step in OPEN_STEPS and trial.asked == rest[0]


def _until_asked(trial: Trial, rest: Rest) -> bool:
    return trial.step in OPEN_STEPS and trial.asked is None


def _while_owned(trial: Trial, rest: Rest) -> bool:
    return trial.step in UNDER_WAY and trial.owner == rest[0]


def _while_unowned(trial: Trial, rest: Rest) -> bool:
    return trial.step in UNDER_WAY and trial.owner is None


def _while_crossed(trial: Trial, rest: Rest) -> bool:
    return bool(guarding.undecided(trial)) and rest[0] in (trial.owner, trial.facilitator, trial.decision_maker)


def _while_in_the_way(trial: Trial, rest: Rest) -> bool:
    return trial.step in UNDER_WAY and bool(trial.in_the_way)


def _while_weeks_are_missing(trial: Trial, rest: Rest) -> bool:
    return trial.step in UNDER_WAY and (not rest[1].isdigit() or int(rest[1]) not in trial.weeks)


def _while_action_is_open(trial: Trial, rest: Rest) -> bool:
    return trial.step in UNDER_WAY and is_open(trial, rest[0], rest[1])


def _while_something_is_open(trial: Trial, rest: Rest) -> bool:
    """A reminder names what it is about; one of an earlier release does not."""
    return trial.step in UNDER_WAY and (len(rest) < 3 or any(is_open(trial, rest[0], key) for key in rest[1:-1]))


def _while_asked_to_sign(trial: Trial, rest: Rest) -> bool:
    return rest[1] == signing.asked_about(trial) and not signing.is_settled(trial, MemberId(rest[0]))


def _while_late(trial: Trial, rest: Rest) -> bool:
    return trial.step is TrialStep.BUILDING and rest[1] == str(trial.live_agreed())


LIVE = "live"
"""The key of the question whether it is live."""


def is_open(trial: Trial, person: str, key: str) -> bool:
    """Whether this person still owes this week's numbers, this action, or the word that it is live."""
    if key.isdigit():
        return trial.owner == person and int(key) not in trial.weeks
    if key == LIVE:
        return trial.owner == person and trial.step is TrialStep.BUILDING
    return any(action.id == key and action.who == person for action in trial.open_actions())


# --- the table --------------------------------------------------------------------------------------------------------

_FACILITATOR, _CHIEF = Role.FACILITATOR, Role.DECISION_MAKER
ROUND: Mapping[str, Life[Round]] = {
    "setup": Life(End.LINE, _in(Step.SETUP), _FACILITATOR),
    "card": Life(End.LINE, _in_its_card, rests=False),
    "ask": Life(End.LINE, _in_its_step),
    "prompt": Life(End.GONE, _in(Step.NOTES)),  # of an earlier release, as is the next
    "mine": Life(End.GONE, _in(Step.NOTES)),
    "draft": Life(End.GONE, _in(Step.NOTES)),
    "numbers": Life(End.GONE, _in(Step.NOTES), _FACILITATOR),
    "consent": Life(End.GONE, _in(Step.NOTES)),
    LATE: Life(End.GONE, _late_note_waits),
    "desk": Life(End.LINE, _in_its_step),
    "proposal": Life(End.GONE, _in(Step.MERGE)),
    "ballot": Life(End.LINE, _in_its_step),
    "option": Life(End.GONE, _in_its_step, rests=False),
    "question": Life(End.READS, _in(Step.PRECEDENTS)),
    "telling": Life(End.GONE, _in(Step.PLANS), rests=False),
    "break": Life(End.GONE, _until_it_ends, rests=False),
    "alike": Life(End.GONE, _in(Step.PLANS)),  # of an earlier release
    "compare": Life(End.LINE, _in(Step.BALLOT, Step.PLACEMENT)),
    "forecasts": Life(End.GONE, _in(Step.COMMITMENT)),
    "forecast": Life(End.GONE, _while_chosen),
    "odds": Life(End.GONE, _while_owned_to_be),
    "author": Life(End.GONE, _in(Step.COMMITMENT)),
    "own": Life(End.GONE, _while_asked),
    "holdup": Life(End.GONE, _in_its_step, _FACILITATOR),
    "unread": Life(End.GONE, _in_its_step, _FACILITATOR),
    "nothing": Life(End.GONE, _in_its_step, _FACILITATOR),
    "stuck": Life(End.GONE, _in_its_step),
    "heads up": Life(End.GONE, _in_its_step),
    "role-offer": Life(End.LINE, _while_role_is_offered, rests=False),
    "role-asked": Life(End.LINE, _while_role_is_offered, rests=False),
    HELD: Life(End.LINE, _while_held, rests=False),
    HOW_ON: Life(End.LINE, _while_it_does_not_move, rests=False),
    GUEST: Life(End.GONE, _while_not_on_the_roster, _FACILITATOR, rests=False),
    "reach": Life(End.GONE, _in_its_step, rests=False),
    LEFT: Life(End.GONE, _until_it_ends, rests=False),
    NEXT: Life(End.GONE, _has_ended, _FACILITATOR, rests=False),
    SAID: Life(End.GONE, _in_its_step),
}
OFFERS = frozenset({"role-offer", "role-asked"})
_OF_A_ROLE = {Step.FOCUS.value: _CHIEF, Step.MERGE.value: _FACILITATOR, Step.QUESTIONS.value: _FACILITATOR}
"""Steps whose question goes to whoever holds a role."""
TRIAL: Mapping[str, Life[Trial]] = {
    "own": Life(End.GONE, _while_offered),
    "declined": Life(End.GONE, _until_asked),
    "yours": Life(End.LINE, _while_owned),
    "blocked": Life(End.GONE, _while_in_the_way),
    REMINDED: Life(End.GONE, _while_something_is_open),
    "missed": Life(End.GONE, _while_weeks_are_missing),
    "unowned": Life(End.GONE, _while_unowned),
    "late": Life(End.GONE, _while_late),
    CROSSED: Life(End.LINE, _while_crossed),
    "action": Life(End.GONE, _while_action_is_open),
    "brief": Life(End.GONE, _while_running),
    "close": Life(End.GONE, _in_review),
    "reading": Life(End.GONE, _under_way),
    SCORE: Life(End.GONE, lambda trial, rest: True),
    SIGN: Life(End.GONE, _while_asked_to_sign),
    SAID: Life(End.GONE, _under_way),
}
TEAM_OF_TRIAL: Mapping[str, Life[Trial]] = {
    "brief": Life(End.READS, _under_way),
    "verdict": Life(End.READS, _in_review),
    "volunteers": Life(End.LINE, _while_unowned),
}
"""In the channel, where some names mean something else."""
PERSONAL = frozenset({ERASE, TODO, SAID, PAGE, REMINDED, HANDED, WHICH, PLACE, DIGEST, FORM})


def named(text: str) -> MessageName:
    """The name with its `what`, which earlier releases left out of some."""
    name = MessageName.unpack(text)
    if name.owner in (WHICH, "misplaced", MEANT):
        return MessageName(PEOPLE, WHICH, (name.what, *name.rest))
    if name.owner.startswith("say-"):
        return MessageName(PEOPLE, PAGE, ("", name.owner))
    return name


def is_file(text: str) -> bool:
    """Whether it is a file that went along with a message."""
    return MessageName.unpack(text).rest[-1:] != () and MessageName.unpack(text).rest[-1].startswith("file")


def may_end(text: str) -> bool:
    """Whether messages of this name have a life at all."""
    name = named(text)
    return name.what in PERSONAL if name.owner == PEOPLE else name.what in {*ROUND, *TRIAL, *TEAM_OF_TRIAL}


def rests(what: str) -> bool:
    """Whether a message of a round rests with it."""
    return what in ROUND and ROUND[what].rests


def holder(name: MessageName) -> Role | None:
    """The role by which somebody has a message of a round."""
    of_a_step = _OF_A_ROLE.get(name.rest[1]) if name.what in ("ask", "desk") and len(name.rest) > 1 else None
    return of_a_step or ROUND[name.what].holder


_GIVEN: Mapping[str, Covers] = {
    "mine": Covers.NOTES, "draft": Covers.NOTES, "consent": Covers.NOTES, "alike": Covers.PLANS,
    "compare": Covers.COMPARISONS, "author": Covers.AUTHORSHIP, "forecast": Covers.CHOICES,
    "forecasts": Covers.CHOICES,
}  # fmt: skip
"""Messages that repeat what somebody gave."""
_GIVEN_IN_STEPS = frozenset({SAID, "ask", "ballot", "option", "desk"})


def use_of(send: Send, now: datetime) -> Use | None:
    """The key under which it waits in the outbox: of what it repeats, else of what is said in private after somebody's
    act. What all get alike needs none, nor does the end of a message that has one."""
    if send.place.kind != "direct":
        return None
    given = _given(send) if send.open else None
    return given or (said(now) if send.kind == "home" or is_of_an_act(send.name) else None)


def _given(send: Send) -> Use | None:
    name = named(send.name)
    if send.round_id is None:
        return None
    if name.what == LATE and len(name.rest) > 1:
        return Use(send.round_id, Covers.LATE, name.rest[1])
    step = name.rest[1] if name.what in _GIVEN_IN_STEPS and len(name.rest) > 1 else ""
    covers = _GIVEN.get(name.what) or OF_STEP.get(step)
    return None if covers is None else Use(send.round_id, covers)


def offers(message: Message) -> bool:
    """Whether something can be pressed on it."""
    return any(isinstance(block, Buttons) for block in message.blocks)


def with_them(round_: Round, name: MessageName, person: str) -> bool:
    """Whether this person is still the one to have it: still there, and still holding its role."""
    role = holder(name)
    return MemberId(person) in round_.active() and role in (
        None,
        *(r for r in Role if round_.roles.acting(r) == person),
    )
