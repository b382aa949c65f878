"""Words drawn inside the pictures; the sentences beside them are in `pictures`."""

from __future__ import annotations

from coldframe.message.pictures import CalibrationBin, PlacementMatrix, RankRow, TrendWeek, VoteRanking
from coldframe.message.plain import count, figure, one_line, percent, reading

SHORTENED = "… marks a shortened text. The whole of it stands in the words that go with this picture."
NOT_DRAWN = "▯ marks signs that this picture cannot draw. They stand in the words that go with it."

FORWARD = "forward"
BACK = "back"
NO_DRIVING = "No driving force was noted."
NO_RESTRAINING = "No restraining force was noted."
NOTHING_VOTED = "Nothing was voted on."
NOTHING_PLACED = "No plan was placed."
NOTHING_SCORED = "No forecast has been scored yet: there is nothing to compare."
NO_READINGS = "No number has been logged yet."

PLACE, OPTION, GROUP, DECISION_MAKER, WEIGHTED = "Place", "Option", "Group", "Decision-maker", "Weighted"
TIED = "tied"
BY_DOTS = "The number beside an arrow is the dots on it; the thicker the arrow, the more of them."
PLACES_ONLY = "Only places are shown: figures would show single ballots."
GROUP_KEY = "group's votes"
DECISION_MAKER_KEY = "decision-maker's votes, as weighted"

IMPACT, EFFORT = "Impact", "Effort"
LITTLE, MUCH = "little", "much"
SURE_KEY = "sure: full line, filled"
UNSURE_KEY = "unsure: dashed line, hollow"
ORDER_ONLY = "Only the order on each scale is shown: distances from so few people would tell single answers."
ONE_ERROR = "Each ring reaches one standard error either way."
RING_BEYOND = "Where no ring or only part of one shows, it is wider than the field."

WITHOUT_CHANGE = "without the change"
WITH_CHANGE = "with the change"
TRIAL_STARTS = "the trial starts"
FIRST_WEEK = "Hollow: the first week, shown apart, since what is new may draw attention."
NO_NUMBER = "no number"
WEEKS = "Week of the trial"
WEEKS_BEFORE = "Week of the trial (0 and below: before it)"

SAID = "Stated chance"
CAME_TRUE = "Came true"
INTERVAL = "Interval"
FORECAST_COUNT = "Forecasts"
AS_SAID = "where it would come true just as often as said"
WITH_INTERVAL = "what came true, with its interval"


def driving_heading(number: int) -> str:
    return f"Driving forces ({number}): they push forward"


def restraining_heading(number: int) -> str:
    return f"Restraining forces ({number}): they hold back"


def today(lever: str) -> str:
    return f"{one_line(lever)} today"


def and_more(number: int) -> str:
    return f"and {number} more, in the words that go with this picture"


def cut(after: int) -> str:
    return "the one above goes on" if after == 1 else f"the {after} above go on"


def outcome(chart: VoteRanking, row: RankRow) -> str:
    """Said on the rows that a cut lets pass; the others stand below its line."""
    return row.outcome() if chart.cut_after is not None and row.carried else ""


def unit_heading(chart: VoteRanking) -> str:
    unit = one_line(chart.unit)
    return unit[:1].upper() + unit[1:] if unit else "Votes"


def point_label(label: str, unsure: bool) -> str:
    return f"{label}, unsure" if unsure else label


CHIEF_SIGN = "◆"
CHIEF_KEY = f"{CHIEF_SIGN} the decision-maker voted for it in the ballot."


def matrix_notes(chart: PlacementMatrix) -> tuple[str, ...]:
    notes = (ORDER_ONLY if chart.order_only else ONE_ERROR, one_line(chart.note), CHIEF_KEY * chart.shows_chief)
    return tuple(note for note in notes if note)


EARLY = "days before"
EARLY_NOTE = "Hollow, before week 1: the days before the first whole week, shown and not judged."


def tick(week: int, has_early: bool) -> str:
    """Below the picture: of the weeks before the trial how far back they lie."""
    return EARLY if has_early and week == 0 else str(week + (has_early and week < 0))


def baseline(value: float) -> str:
    return f"baseline {figure(value)}"


def target(value: float) -> str:
    return f"target {figure(value)}"


def interval(words: str) -> str:
    return f"interval {words}"


def scored(number: int) -> str:
    return f"{count(number, 'forecast')} scored"


def week_says(week: TrendWeek, kind: str, named: str) -> str:
    name, value = (WITH_CHANGE, week.trial) if kind == "trial" else (WITHOUT_CHANGE, week.control)
    return f"{named}, {name}: {reading(value or 0.0)}"


def bin_says(group: CalibrationBin) -> str:
    return f"Said {percent(group.stated)}, came true {percent(group.happened)}, {count(group.count, 'forecast')}"


def bin_interval(group: CalibrationBin) -> str:
    return f"{percent(group.low)} to {percent(group.high)}"
