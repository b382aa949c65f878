"""A rule said no: a named code with the facts of the case. The sentence for it lives in speech."""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar

from coldframe.errors import ColdframeError

T = TypeVar("T")


class Because(StrEnum):
    """Why a command was refused."""

    # who may
    NOT_A_MEMBER = "not a member"
    NO_ROUND_OPEN = "no round open"
    NOT_HERE = "not in the channel any more"
    NOT_LET_IN = "a guest whom nobody let in"
    FROM_ELSEWHERE = "of another organisation"
    WHO_IS_HERE = "who is in the channel cannot be seen"
    NOT_FACILITATOR = "not the facilitator"
    NOT_DECISION_MAKER = "not the decision-maker"
    NOT_YOURS = "not yours"
    ERASING_ASKED = "erasing asked"
    ERASING_NEEDS_ANOTHER = "erasing needs another"
    ROLE_NOT_OPEN = "role is not open"
    HAS_THE_ROLE = "has the role already"
    DEPUTY_ACTS = "the deputy has the role now"
    NO_CHANNEL = "no channel"
    NOTHING_JOINED = "nothing is joined"
    ALONE_HERE = "a rehearsal is for one alone"
    WHICH_ROUND = "several rounds"
    NEEDS_SECOND_PERSON = "needs a second person"
    # when
    NOT_NOW = "not in this step"
    TOO_LATE = "after the close"
    NOT_OPEN_YET = "not open yet"
    PAUSED = "round is paused"
    NOT_PAUSED = "round is not paused"
    ENDED = "round has ended"
    LOCKED = "ballot is locked"
    ALREADY_EXTENDED = "no more extensions"
    NOTHING_TO_UNDO = "nothing to undo"
    DEADLINE_RANGE = "deadline out of range"
    STAYS_CLOSED = "cannot be opened again"
    WINDOW_RUNS = "the window runs or is over"
    # setup
    NOT_IN_CHANNEL = "the bot is not in the channel"
    MAY_NOT_POST = "the bot may not post in the channel"
    TOO_FEW_PEOPLE = "too few people"
    TOO_MANY_PEOPLE = "too many people"
    NO_QUESTION = "no guiding question"
    LEVER_COUNT = "one to six levers"
    DEPUTY_MISSING = "a deputy is missing"
    DEPUTY_SAME = "deputy is the same person"
    ROLE_NOT_ON_ROSTER = "role is not on the roster"
    WEIGHT_UNCONFIRMED = "weight above half of the power"
    WEIGHT_DECIDES_ALONE = "weight is all of the power"
    BAD_SETTING = "setting out of range"
    # input
    EMPTY = "empty"
    TOO_LONG = "too long"
    TOO_MANY = "too many"
    TOO_MANY_ROUNDS = "too many rounds"
    UNREADABLE = "unreadable characters"
    UNKNOWN_LEVER = "unknown lever"
    UNKNOWN_ITEM = "unknown item"
    REASON_TOO_SHORT = "reason too short"
    NOTHING_TO_WORK_ON = "nothing to work on"
    NOTHING_IN = "nothing came in"
    NOTHING_HOLDS_BACK = "nobody named what holds back"
    MERGE_ACROSS = "merge across levers or sides"
    ALREADY_MERGED = "already one force"
    KEPT_APART = "kept apart already"
    TOO_FEW_ALIKE = "too few alike"
    OVER_QUOTA = "over the quota"
    SAME_ITEM = "compared with itself"
    ASKED_ALREADY = "asked already"
    NO_QUESTIONS = "no questions yet"
    DURATION = "three to six weeks"
    # commitment
    NO_FREE_PLACE = "two trials at a time"
    NO_CHOICE = "nothing chosen"
    OWNER_MISSING = "owner has not accepted"
    NOT_ASKED = "was not asked"
    NOT_ANNOUNCED = "the choice is not announced yet"
    ACTIONS_MISSING = "first-week actions are missing"
    ACTION_TOO_FAR = "action later than seven days"
    LIVE_MISSING = "day on which it should be live is missing"
    REVIEW_TOO_EARLY = "review before the trial ends"
    NEXT_ROUND_MISSING = "date of the next round is missing"
    CRITERION_INCOMPLETE = "criterion is incomplete"
    CHECK_MISSING = "nobody named who checked it"
    IN_THE_PAST = "in the past"
    TOO_FAR = "too far ahead"
    WHO_AND_WHEN = "nobody and no date for what follows"
    WHAT_STAYS = "not said what stays as it is"
    FATES_MISSING = "plans without a fate"
    FATE_INCOMPLETE = "who, when and where are missing"
    DROPPED_WHY = "dropped without a reason"
    AGAINST_THE_CORNER = "against the matrix without a reason"
    OVERLAP_UNCONFIRMED = "same people and same measure"
    # trials
    NOT_OWNER = "not the owner"
    BAD_NUMBERS = "impossible numbers"
    WEEK_TAKEN = "week is logged already"
    WEEK_UNKNOWN = "week is not of this trial"
    NOT_LIVE = "is being built"
    LIVE_ALREADY = "is live already"
    LIVE_LATER = "live on a day to come"
    LIVE_BEFORE = "live before it was committed to"
    LIVE_TOO_FAR = "live too far from now"
    WEEK_NOT_COUNTED = "week cannot be counted yet"
    REVIEW_NOT_DUE = "review is not due"
    REVIEW_TOO_LATE = "review too long after the trial"
    NOTHING_CROSSED = "no line is crossed"
    WEEK_NOT_OVER = "week is not over"
    TRIAL_OVER = "trial is over"
    TRIAL_NOT_STARTED = "trial has not started"
    ONLY_COUNTED = "counted and not logged"
    OWNS_ALREADY = "owns it already"


class Impossible(StrEnum):
    """Why numbers cannot be. `group` names whose they are, `number` and `most` what was written."""

    HARM_NO_NUMBER = "harm is no number"
    NO_NUMBERS = "no numbers of the trial"
    CONTROL_MISSING = "control group missing"
    NO_CONTROL = "no control group"
    NO_NUMBER = "no number"
    TWO_NUMBERS = "two numbers needed"
    BELOW_ZERO = "below zero"
    NOT_WHOLE = "not whole"
    MORE_THAN_PEOPLE = "more than people"
    COUNT_BELOW_ZERO = "count below zero"
    COUNT_NOT_WHOLE = "count not whole"
    ONE_A_WEEK = "one number a week"
    UNITS_AND_EVENTS = "units and events needed"
    NO_UNITS = "no units"
    MEAN_INCOMPLETE = "mean incomplete"
    SPREAD_BELOW_ZERO = "spread below zero"
    TOO_FEW_FOR_MEAN = "too few for a mean"
    SAME_AS_BASELINE = "target is the baseline"
    NO_SHARE = "no share"
    NO_SPLIT = "no split"
    NO_SPREAD = "no spread"
    NO_RATE = "no rate"
    NO_LAG = "no lag"
    LIMIT_IS_USUAL = "limit is the usual value"
    STOPS_AT_TARGET = "stops at the target"
    NOT_FINITE = "not finite"


class Refused(ColdframeError):
    """The command was refused; nothing changed. `facts` never hold private text."""

    def __init__(self, code: Because, **facts: object) -> None:
        super().__init__(code.value)
        self.code = code
        self.facts = facts


def known(found: T | None) -> T:
    """What was named. Raises Refused UNKNOWN_ITEM where there is no such thing."""
    if found is None:
        raise Refused(Because.UNKNOWN_ITEM)
    return found
