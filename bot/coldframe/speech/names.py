"""How things are called and addressed: step titles, lengths, and the names under which messages are kept."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from coldframe.domain.fates import FateKind
from coldframe.domain.names import MemberId, PauseReason, Role, Side, Step, Touches
from coldframe.domain.round.disclosure import MIN_VOTERS, MIN_VOTERS_ON_TWO, voters_needed
from coldframe.domain.state import Round
from coldframe.domain.trial import signing
from coldframe.domain.trial.state import Trial
from coldframe.domain.unsigned import enough, middle
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Inline, Line, To, Who, Words, line
from coldframe.message.packed import ButtonValue, MadeFor, MessageName
from coldframe.speech.steps import TITLES

PAUSED = {
    PauseReason.ASKED: "the facilitator paused it",
    PauseReason.BREAK: "a break, after which it goes on by itself",
    PauseReason.NOBODY_ANSWERED: "no answers are in yet",
    PauseReason.NOBODY_DECIDED: "a decision is missing",
    PauseReason.NOTHING_CAME: "nothing came in to go on with",
    PauseReason.NOT_AGREED: "not everybody who wrote has agreed to show the notes",
    PauseReason.CHANNEL_ARCHIVED: "the channel was archived",
    PauseReason.CHANNEL_DELETED: "the channel was deleted",
    PauseReason.CHANNEL_LEFT: "I was removed from the channel",
}
NO_REASON = "no reason given"
CRITERION_FIELDS: Mapping[str, str] = {
    "measure": "success measure",
    "baseline": "baseline",
    "target": "target",
    "weekly": "people a week",
    "counted": "words on who is counted",
    "stop_line": "stop line",
    "harm": "harm measure",
    "spread": "standard deviation",
    "baseline_weeks": "six earlier weeks, or more",
}
"""What a criterion still lacks, behind "its"."""
NO_PLANS = "no plan was written"
MOST_BESIDE = 8
"""Driving forces that are shown beside those that hold back."""
SIDES = {Side.DRIVING: "driving", Side.RESTRAINING: "restraining"}


CALLED: Mapping[FateKind, str] = {
    FateKind.PROJECT: "a project",
    FateKind.ERRAND: "an errand",
    FateKind.KEPT: "kept for the next round",
    FateKind.DROPPED: "dropped",
    FateKind.SCALE: "to be scaled",
    FateKind.SWITCH_OFF: "to be switched off",
}
"""What becomes of a plan, or of a trial."""
DONE: Mapping[FateKind, str] = {FateKind.SCALE: "scaled", FateKind.SWITCH_OFF: "switched off"}
"""Once it is done; of what is not here that it is."""
SUCH_AS = "Such as next Tuesday, 12 Jan, or in 2 weeks."
"""Under a field for a day that is typed."""
TOUCHED = {
    Touches.PERSONAL_DATA: "personal data",
    Touches.MARKETING: "marketing messages",
    Touches.PRICES: "prices",
    Touches.HEALTH: "health",
    Touches.FINANCE: "finance claims",
    Touches.VULNERABLE: "children or vulnerable people",
    Touches.HIDING: "hiding something from the customer",
}


def title(step: Step) -> str:
    return TITLES[step]


def lower(step: Step) -> str:
    """As it stands in a sentence: the `dots` step."""
    return TITLES[step].lower()


def count(number: int, one: str, many: str | None = None) -> str:
    """`3 notes`, `1 note`."""
    return f"{number} {one if number == 1 else many or one + 's'}"


_SPELT = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def spelt(number: int, one: str, many: str | None = None) -> str:
    """`three notes`, `one note`, `no notes`, `12 notes`: as it stands in a sentence."""
    return f"{in_words(number)} {one if number == 1 else many or one + 's'}"


def in_words(number: int) -> str:
    return _SPELT[number] if number < len(_SPELT) else str(number)


def capital(words: str) -> str:
    """As it begins a sentence."""
    return words[:1].upper() + words[1:]


def begun(words: Line) -> Line:
    """A line, as it begins a sentence."""
    first, *rest = words
    return (replace(first, text=capital(first.text)), *rest) if isinstance(first, Words) else words


def are_in(number: int, expected: int) -> str:
    if not number:
        return f"none of {expected} are in yet"
    return f"{number} of {expected} {'is' if number == 1 else 'are'} in"


def who(round_: Round, member: str, *, notify: bool = False) -> Who:
    return Who(member, theirs(round_.name_of(MemberId(member)), 40).text, notify)


def choosers(round_: Round) -> Line:
    """Who settles the commitment; one person may be both."""
    roles = dict.fromkeys(round_.roles.acting(role) for role in (Role.DECISION_MAKER, Role.FACILITATOR))
    first, *other = (line("{w}", w=who(round_, member)) for member in roles)
    return first + line(" and {o}", o=other[0]) if other else first


FAR_APART = 40  # per cent, between the lowest forecast and the highest


def together(forecasts: Collection[int]) -> str:
    """What a channel hears of forecasts: the middle one and whether they differ, so that nobody's own can be read off;
    of too few, that they are not shown and why."""
    if not forecasts:
        return ""
    if not enough(forecasts):
        return "not shown: fewer than three people gave one"
    differ = "far apart" if max(forecasts) - min(forecasts) >= FAR_APART else "not far apart"
    return f"{len(forecasts)}, {differ}; the middle one is {_middle_words(middle(forecasts))}"


ENDS_AT = 10  # per cent from either end of the scale


def _middle_words(chance: int) -> str:
    """Not the end of the scale itself: of three, whoever said something else would know both others' to the point."""
    if chance >= 100 - ENDS_AT:
        return f"{100 - ENDS_AT}% or more"
    return f"{ENDS_AT}% or less" if chance <= ENDS_AT else f"{chance}%"


def label(round_: Round) -> Line:
    """The round's short name and question, to stand on every card."""
    return line("*{name}*", name=theirs(round_.name, 60))


def message_name(round_id: str, what: str, *rest: str) -> str:
    """The bot's own name of a message: `round/what/person/item`."""
    return MessageName(round_id, what, rest).pack()


_STEP_AT = {
    "card": 0,
    "desk": 1,
    "ask": 1,
    "ballot": 1,
    "option": 1,
    "stuck": 1,
    "nothing": 1,
    "holdup": 1,
    "unread": 1,
    "held": 1,
}
"""By what a message is, where its name says the step."""


def step_of(message: MessageName) -> Step | None:
    """The step that a message of a round belongs to; None where its name does not say."""
    if message.what == "mine":
        return Step.NOTES
    at = _STEP_AT.get(message.what, len(message.rest))
    named = message.rest[at] if at < len(message.rest) else ""
    return Step(named) if named in list(Step) else None


def brought(source: str, *, judged: bool) -> Line:
    """Of what was there before coldframe: where it stands, and what that means for its verdict."""
    means = "its criterion wasn't fixed here beforehand" if judged else "not judged by my rules"
    return line("{s}; {m}", s=theirs(source, 200), m=means)


# --- what a button or form was made for ---


def about(round_: Round, *parts: str, step: Step | None = None) -> str:
    """The value of a button or form of a round: made for its step, unless another is named; then what in it."""
    return ButtonValue(round_.id, parts, (step or round_.step).value).pack()


def about_trial(trial: Trial, *parts: str) -> str:
    """Made for the trial as a whole, as long as it is open."""
    return _of_trial(trial, MadeFor("trial"), *parts)


def of_running(trial: Trial) -> str:
    return _of_trial(trial, MadeFor("running"))


def of_building(trial: Trial) -> str:
    """Made for its being built."""
    return _of_trial(trial, MadeFor("building"))


def of_late_build(trial: Trial) -> str:
    """Made for its being late against the day that was agreed."""
    agreed = trial.live_agreed()
    return _of_trial(trial, MadeFor("late", agreed.isoformat() if agreed is not None else ""))


def of_crossing(trial: Trial, *parts: str) -> str:
    """Made for what is crossed and undecided."""
    return _of_trial(trial, MadeFor("crossed"), *parts)


def of_proposed(trial: Trial) -> str:
    return _of_trial(trial, MadeFor("proposed"))


def of_review(trial: Trial) -> str:
    """Made for the review that comes or is being held; each that was missed is followed by another."""
    return _of_trial(trial, MadeFor("review", str(trial.missed_reviews)))


def of_owner(trial: Trial) -> str:
    """Made for its having this owner, or none."""
    return _of_trial(trial, MadeFor("owner", trial.owner or ""))


def of_offer(trial: Trial) -> str:
    """Made for the newest question to somebody to own it."""
    return _of_trial(trial, MadeFor("offer", str(trial.offers)))


def of_signing(trial: Trial) -> str:
    """Made for the question whether what somebody wrote is shown with their name."""
    return _of_trial(trial, MadeFor("sign", signing.asked_about(trial)))


def of_action(trial: Trial, action: str) -> str:
    return _of_trial(trial, MadeFor("action", action), action)


def of_week(trial: Trial, week: str, said: str) -> str:
    """Made for a week that is not logged yet."""
    return _of_trial(trial, MadeFor("week", week), said)


def _of_trial(trial: Trial, made_for: MadeFor, *parts: str) -> str:
    return ButtonValue(trial.id, parts, made_for.pack()).pack()


def fewest(options: int) -> str:
    """How many must vote on so many options before figures are told, in words."""
    return {MIN_VOTERS: "five", MIN_VOTERS_ON_TWO: "seven"}[voters_needed(options)]


_SHEETS: Mapping[Step, tuple[str, bool]] = {
    **dict.fromkeys((Step.NOTES, Step.FOCUS, Step.PRECEDENTS), ("ask", True)),
    **dict.fromkeys((Step.MERGE, Step.QUESTIONS, Step.PLANS), ("desk", True)),
    **dict.fromkeys((Step.DOTS, Step.BALLOT), ("ballot", True)),
    Step.PLACEMENT: ("compare", False),
}
"""What a person's sheet of a step is called, and whether its name tells the step."""


def to_sheet(round_: Round, member: str, label: str, *, strong: bool = False) -> Inline:
    """The way to what somebody is asked in the running step; of a step without a sheet, the words alone."""
    if round_.step not in _SHEETS:
        return Words(label, strong)
    what, tells = _SHEETS[round_.step]
    return To(message_name(round_.id, what, member, *([round_.step.value] if tells else [])), label, strong)


def sheet_of(round_: Round, member: str) -> Line:
    """`dots in Spring round`, with the way to the sheet that waits."""
    sheet = to_sheet(round_, member, lower(round_.step), strong=True)
    return line("{step} in {round}", step=sheet, round=theirs(round_.name, 60))
