"""How likely each verdict is, told to a trial's owner before it is sealed, and what would better that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.analysis.odds import ENOUGH
from coldframe.domain.names import PlanId
from coldframe.domain.state import Criterion, Odds, Plan, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Facts, Line, Message, line
from coldframe.message.plain import figure
from coldframe.message.saying import offer, paragraph, said, small, told
from coldframe.speech.levels import is_planned_as_share, level, measured
from coldframe.speech.names import about, count, who


def to_owner(round_: Round, plan_id: PlanId) -> Message:
    plan, odds = round_.plans[plan_id], round_.choices[plan_id].odds
    assert odds is not None
    words = line(
        "Before “{t}” is sealed: an effect as large as its target would show in {n} of 100 such trials.",
        t=theirs(plan.title, 80),
        n=_of_100(shows(odds)),
    )
    blocks: list[Block] = [paragraph(words), Facts(_rows(plan, odds)), *_half_the_time(odds)]
    blocks += [paragraph(each) for each in (_drift(plan, odds), _better(plan, odds)) if each]
    blocks.append(small(guards(plan.criterion)))
    blocks.append(offer(Button("Change the criterion …", "criterion.write", about(round_, plan_id))))
    return Message(words, tuple(blocks))


def shows(odds: Odds) -> float:
    """The chance that an effect which is there is seen."""
    return odds.if_target.get("reached", 0.0) + odds.if_target.get("better", 0.0)


def in_a_line(odds: Odds) -> str:
    """For everybody: on the sealed card and beside the choice."""
    return f"{_of_100(shows(odds))} of 100 such trials would show the target if it is true"


def _of_100(share: float) -> str:
    """Never a sure thing: what was drawn some thousand times proves none."""
    number = round(100 * share)
    return "fewer than 1" if share < 0.005 else "more than 99" if share > 0.995 else str(number)


def _rows(plan: Plan, odds: Odds) -> tuple[tuple[str, Line], ...]:
    return (
        ("The plan", line("{p}", p=_plan(plan))),
        ("If the target is true", line("{w}", w=_verdicts(odds.if_target))),
        ("If nothing changes", line("{w}", w=_verdicts(odds.if_nothing))),
    )


def _plan(plan: Plan) -> str:
    criterion = plan.criterion
    usual = criterion.usual
    start = f"from {_usual(criterion, usual)} " if usual is not None else ""
    way = "" if criterion.upwards else ", lower is better"
    return f"{start}to {level(criterion, criterion.target)} in {count(plan.weeks, 'week')}{way}"


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


def _drift(plan: Plan, odds: Odds) -> Line:
    if odds.drift is None:
        return ()
    if plan.criterion.kind != "before-after":
        return _if_weeks_drift(odds.drift)
    return line(
        "Weeks drift by themselves: with {e}, about {n} of 100 such trials seem better though nothing changed. Its "
        "verdict says that it changed, never why.",
        e=count(len(plan.criterion.baseline_weeks), "earlier week"),
        n=_of_100(odds.drift),
    )


def _if_weeks_drift(share: float) -> Line:
    if share < WORTH_SAYING:
        return ()
    return line(
        "Should weeks drift by a tenth, about {n} of 100 such trials seem better though nothing changed; the odds "
        "above leave that out.",
        n=_of_100(share),
    )


def _better(plan: Plan, odds: Odds) -> Line:
    """What would show more."""
    if shows(odds) >= ENOUGH:
        return ()
    ways = [f"{_remedy(plan, what, size)} ({_of_100(chance)} of 100)" for what, size, chance in odds.remedies]
    enough = any(chance >= ENOUGH for _, _, chance in odds.remedies)
    other = "" if enough else " None of this is enough alone: another measure, that more people reach, would be."
    return line("More would show with {w}.{o}", w=_either(ways), o=other) if ways else line("{o}", o=other.strip())


def _either(ways: list[str]) -> str:
    return ways[0] if len(ways) == 1 else f"{', '.join(ways[:-1])} or {ways[-1]}"


def _remedy(plan: Plan, what: str, size: float) -> str:
    if what == "weeks":
        return f"{count(round(size), 'week')} instead of {plan.weeks}"
    if what == "people":
        unit = "units" if plan.criterion.kind == "rate" else "people"
        return f"{size:,.0f} {unit} a week instead of {plan.criterion.weekly or 0:,.0f}"
    return f"a target of {measured(size, share=is_planned_as_share(plan.criterion))}"


def guards(criterion: Criterion) -> Line:
    """What is told at once when it is crossed."""
    lines = []
    if criterion.harm_limit is not None:
        side = "above" if criterion.harm_above else "below"
        usual = f" (usually {figure(criterion.harm_usual)})" if criterion.harm_usual is not None else ""
        lines.append(f"{theirs(criterion.harm, 100).text} {side} {figure(criterion.harm_limit)}{usual}")
    if criterion.stop_at is not None:
        lines.append(f"the measure at {level(criterion, criterion.stop_at)} or {_worse(criterion)}")
    words = line("If one is crossed, you, facilitator and decision-maker hear of it: {w}. ", w="; ".join(lines))
    if criterion.harm_limit is not None:
        return words
    return (words if lines else ()) + line(
        "“{h}” has no limit yet, so nobody is told when it gets worse.", h=theirs(criterion.harm, 100)
    )


def no_limit(round_: Round, plans: Sequence[PlanId]) -> Message:
    """To whoever seals."""
    harms = [round_.plans[plan].criterion.harm for plan in plans]
    words = line(
        "Not sealed yet: from which value on is it harm? {h} no limit, so nobody would be told when it gets worse.",
        h=theirs(" and ".join(f"“{harm}”" for harm in harms) + (" has" if len(harms) == 1 else " have"), 300),
    )
    forms = (
        Button(f"Criterion of {theirs(round_.plans[plan].title, 50).text} …", "criterion.write", about(round_, plan))
        for plan in plans
    )
    return told(words, offer(*forms, Button("Seal without it", "round.commit", about(round_))))


def _worse(criterion: Criterion) -> str:
    return "below" if criterion.upwards else "above"


def cannot_be_judged(round_: Round, plan_id: PlanId, why: str) -> Message:
    words = line(
        "“{t}” cannot be judged as it stands: {w}. What you gave is kept; please put it right before it is sealed.",
        t=theirs(round_.plans[plan_id].title, 80),
        w=theirs(why, 200),
    )
    return told(words, offer(Button("Change the criterion …", "criterion.write", about(round_, plan_id), "primary")))


def not_sealed(round_: Round, plan_id: PlanId, why: str) -> Message:
    """To whoever seals; `why`: the criterion cannot be judged, and pressing again would change nothing."""
    owner = round_.choices[plan_id].owner
    assert owner is not None
    if why:
        return said(
            "Nothing is sealed: “{t}” cannot be judged as it stands: {w}. {o} has the form that puts it right, and so "
            "has the commitment card (Criterion …).",
            o=who(round_, owner),
            t=theirs(round_.plans[plan_id].title, 80),
            w=theirs(why, 200),
        )
    return said(
        "Nothing is sealed yet: I've just worked out for {o} how likely each verdict of “{t}” is. Press again once "
        "they have read it.",
        o=who(round_, owner),
        t=theirs(round_.plans[plan_id].title, 80),
    )
