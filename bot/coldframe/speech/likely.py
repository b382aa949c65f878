"""How likely each verdict is, and what would better that, before a criterion is frozen: at the commitment, and where a
plan starts later."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.analysis.odds import ENOUGH
from coldframe.domain.state import Criterion, Odds
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Facts, Line, line
from coldframe.message.plain import figure
from coldframe.message.saying import paragraph, small
from coldframe.speech.levels import is_planned_as_share, level, measured
from coldframe.speech.names import count


def shows(odds: Odds) -> float:
    """The chance that an effect which is there is seen."""
    return odds.if_target.get("reached", 0.0) + odds.if_target.get("better", 0.0)


SURE = 0.9
"""Of such trials, from which on no figure is told of them: weeks that drift take three points off one there."""


def shown(chance: float) -> str:
    """Of 100 such trials, how many show an effect that is there."""
    return f"{100 * SURE:.0f} or more" if chance >= SURE else of_100(chance)


def in_a_line(odds: Odds) -> str:
    """For everybody: on the sealed card and beside the choice."""
    reach = of_100(odds.if_target.get("reached", 0.0))
    return f"if the target is true, {shown(shows(odds))} of 100 such trials show an effect, and {reach} reach it"


def of_100(share: float) -> str:
    """Never a sure thing: what was drawn some thousand times proves none."""
    number = round(100 * share)
    return "fewer than 1" if share < 0.005 else "more than 99" if share > 0.995 else str(number)


def blocks(criterion: Criterion, weeks: int, odds: Odds) -> list[Block]:
    """What was planned, each verdict's odds, and what else its owner should know before anything is frozen."""
    found: list[Block] = [Facts(_rows(criterion, weeks, odds)), *_half_the_time(odds)]
    found += [paragraph(each) for each in (_drift(criterion, odds), _better(criterion, weeks, odds)) if each]
    return [*found, small(guards(criterion))]


def _rows(criterion: Criterion, weeks: int, odds: Odds) -> tuple[tuple[str, Line], ...]:
    return (
        ("The plan", line("{p}", p=_plan(criterion, weeks))),
        ("If the target is true", line("{w}", w=_verdicts(odds.if_target))),
        ("If nothing changes", line("{w}", w=_verdicts(odds.if_nothing))),
    )


def _plan(criterion: Criterion, weeks: int) -> str:
    usual = criterion.usual
    start = f"from {_usual(criterion, usual)} " if usual is not None else ""
    way = "" if criterion.upwards else ", lower is better"
    return f"{start}to {level(criterion, criterion.target)} in {count(weeks, 'week')}{way}"


def _usual(criterion: Criterion, usual: float) -> str:
    """Stated, or reckoned from earlier weeks."""
    if criterion.baseline == usual:
        return level(criterion, usual)
    return measured(usual, share=is_planned_as_share(criterion))


def _verdicts(shares: Mapping[str, float]) -> str:
    """The likeliest first, of 100; what hardly ever happens is left out."""
    known = sorted(shares.items(), key=lambda each: -each[1])
    return ", ".join(f"{word} {round(100 * share)}" for word, share in known if share >= 0.005) + " of 100"


def _half_the_time(odds: Odds) -> list[Block]:
    if odds.if_target.get("better", 0.0) < 0.1:
        return []
    return [
        small(
            "“Reached” needs the numbers themselves at the target or beyond it. An effect just that large lands there "
            "about half the time; “better” is said of the rest."
        )
    ]


WORTH_SAYING = 0.05
"""False alarms by drift from which on a trial against a stated level is told of them."""


def _drift(criterion: Criterion, odds: Odds) -> Line:
    if odds.drift is None:
        return ()
    if criterion.kind != "before-after":
        return _if_weeks_drift(odds.drift)
    return line(
        "Weeks drift by themselves: with {e}, about {n} of 100 such trials seem better though nothing changed. Its "
        "verdict says that it changed, never why.",
        e=count(len(criterion.baseline_weeks), "earlier week"),
        n=of_100(odds.drift),
    )


def _if_weeks_drift(share: float) -> Line:
    if share < WORTH_SAYING:
        return ()
    return line(
        "Should weeks drift by a tenth, about {n} of 100 such trials seem better though nothing changed; the odds "
        "above leave that out.",
        n=of_100(share),
    )


def _better(criterion: Criterion, weeks: int, odds: Odds) -> Line:
    """What would show more."""
    if shows(odds) >= ENOUGH:
        return ()
    ways = [f"{_remedy(criterion, weeks, what, size)} ({shown(chance)} of 100)" for what, size, chance in odds.remedies]
    enough = any(chance >= ENOUGH for _, _, chance in odds.remedies)
    other = "" if enough else " None of this is enough alone: another measure, that more people reach, would be."
    return line("More would show with {w}.{o}", w=_either(ways), o=other) if ways else line("{o}", o=other.strip())


def _either(ways: list[str]) -> str:
    return ways[0] if len(ways) == 1 else f"{', '.join(ways[:-1])} or {ways[-1]}"


def _remedy(criterion: Criterion, weeks: int, what: str, size: float) -> str:
    if what == "weeks":
        return f"{count(round(size), 'week')} instead of {weeks}"
    if what == "people":
        unit = "units" if criterion.kind == "rate" else "people"
        return f"{size:,.0f} {unit} a week instead of {criterion.weekly or 0:,.0f}"
    return f"a target of {measured(size, share=is_planned_as_share(criterion))}"


def guards(criterion: Criterion) -> Line:
    """What is told at once when it is crossed."""
    lines = []
    if criterion.harm_limit is not None:
        side = "above" if criterion.harm_above else "below"
        usual = f" (usually {figure(criterion.harm_usual)})" if criterion.harm_usual is not None else ""
        lines.append(f"{theirs(criterion.harm, 100).text} {side} {figure(criterion.harm_limit)}{usual}")
    if criterion.stop_at is not None:
        lines.append(f"the measure at {level(criterion, criterion.stop_at)} or {_worse(criterion)}")
    words = line("If one is crossed, you, the facilitator and the decision-maker hear of it: {w}. ", w="; ".join(lines))
    if criterion.harm_limit is not None:
        return words
    return (words if lines else ()) + line(
        "“{h}” has no limit yet, so nobody is told when it gets worse.", h=theirs(criterion.harm, 100)
    )


def _worse(criterion: Criterion) -> str:
    return "below" if criterion.upwards else "above"
