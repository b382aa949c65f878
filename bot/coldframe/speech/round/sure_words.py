"""How soft the first place of a count is, how much voters agree, and whether the decision-maker's weight decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coldframe.analysis.tally import End, WeightRange
from coldframe.domain.names import PlanId
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.plain import joined


@dataclass(frozen=True, slots=True)
class Sureness:
    """What the computation says about a ranking: how soft the first place is, agreement, where the weight decides."""

    first_stays: float | None  # share of other such teams in which the first stays first; None where it is shared
    agreement: float | None  # Kendall's W, 0 to 1
    weights: WeightRange[str] | None = None  # where the chosen order stands; None where nobody's votes weigh more


def sure_words(sure: Sureness | None, *, figure: bool) -> str:
    """How sure, in a sentence or two without statistics; the first place with a `figure`, or in words alone."""
    if sure is None:
        return "I couldn't work out how sure this is."
    if sure.agreement is None:
        return "Too few voted to say how sure this is."
    first = SHARED if sure.first_stays is None else _first_words(sure.first_stays, figure=figure)
    return f"{first}; the voters {_agreement_words(sure.agreement)}."


SHARED = "Those in front have the same total, so a few other voters could change which is first"
CLOSE = "It's close: if other people like you voted, another could well be first"
MOSTLY = 0.5
"""Share of other such teams from which on a figure helps; below it another would be first more often."""
STEP, MOST = 5, 95  # of 100: as fine as the figure is true, and as high as it is said
IN_WORDS = (
    (0.9, "the first would very likely stay first", 0.9),
    (0.6, "the first would probably stay first", 0.6),
)
"""From which share on it is said, and of how many such teams it is true at least. Three votes each make no figure:
nobody can tell from totals whether people put them all on one thing, which moves it by up to ten in 100."""
ANOTHER = 1 / 3
"""Of such teams another is first, at least, where it is said that another could well be."""


def _first_words(stays: float, *, figure: bool) -> str:
    """How soft the first place is. People "like you": that all of this team may be mistaken is not in it."""
    if not figure:
        words, _, first = in_words(stays)
        return f"If other people like you voted, {words}" if first else words
    if stays < MOSTLY:
        return CLOSE
    return f"If other people like you voted, the first would stay first about {of_100(stays)} times in 100"


def in_words(stays: float) -> tuple[str, float, bool]:
    """As it is said without a figure, of how many such teams it is true at least, and whether of the first or of
    another."""
    found = next(((words, least, True) for share, words, least in IN_WORDS if stays >= share), None)
    return found or (CLOSE, ANOTHER, False)


def of_100(stays: float) -> int:
    """As it is said."""
    return min(STEP * round(100 * stays / STEP), MOST)


def _agreement_words(w: float) -> str:
    steps = ((0.7, "agree strongly"), (0.5, "agree fairly well"), (0.3, "agree somewhat"))
    return next((words for least, words in steps if w >= least), "agree little")


def weight_words(round_: Round, stands: WeightRange[str]) -> str:
    """Whether the decision-maker's weight decides: where the order stands, what happens at the ends, and who would be
    first if all votes counted the same."""
    whose = f"The decision-maker's weight of {round_.settings.weight}"
    ends = [end for end in (stands.below, stands.above) if end is not None]
    words = f"{whose} {_range(stands)}{_at_the_ends(round_, ends)}"
    if stands.level:
        words = f"{whose} matters: only with it {_titles(round_, stands.level)} have the same total."
    elif not ends:
        return words
    said = any(end.weight == 1 and set(end.level) == set(stands.if_equal) for end in ends)
    return words if said else f"{words} {_if_equal(round_, stands.if_equal)}"


def _range(stands: WeightRange[str]) -> str:
    """Between which weights the order stands, and whether equal votes lie there too. Outside it never stands again: two
    totals that cross do so once."""
    below, above = stands.below, stands.above
    between = "from 0 to 10"
    if below:
        between = f"between {_number(below)} and {_number(above)}" if above else f"above {_number(below)}"
    elif above:
        between = f"below {_number(above)}"
    if below and below.weight >= 1:
        return f"matters: only a weight {between} gives this order."
    return f"changes nothing: any weight {between} gives this order."


def _number(end: End[str]) -> str:
    return f"{round(end.weight, 2):g}"


def _at_the_ends(round_: Round, ends: Sequence[End[str]]) -> str:
    """What happens where the order stands no more. How many people voted for what is level there is not told, so
    neither is who would be first."""
    weights = ("equal votes" if end.weight == 1 else f"a weight of {_number(end)}" for end in ends)
    level = [f"{w} {_titles(round_, e.level)}" for w, e in zip(weights, ends, strict=True)]
    if len(level) > 1:
        same = "would have the same total"
        return f" With {level[0]} {same}, with {level[1]} too; the number of voters would decide then."
    return "".join(f" With {one} would have the same total, and the number of voters would decide." for one in level)


def _if_equal(round_: Round, first: Sequence[str]) -> str:
    if len(first) > 1:
        return f"If all votes counted the same, {_titles(round_, first)} would lead with the same total."
    return f"If all votes counted the same, {_titles(round_, first)} would be first."


def _titles(round_: Round, plans: Sequence[str]) -> str:
    return joined([f"“{theirs(round_.plans[PlanId(plan)].title, 60).text}”" for plan in plans])
