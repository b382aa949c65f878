"""How likely each verdict is, told to a trial's owner before it is sealed."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.names import PlanId
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button, Message, line
from coldframe.message.saying import offer, said, told
from coldframe.speech import likely
from coldframe.speech.names import about, who


def to_owner(round_: Round, plan_id: PlanId) -> Message:
    plan, odds = round_.plans[plan_id], round_.choices[plan_id].odds
    assert odds is not None
    words = line(
        "Before “{t}” is sealed: an effect as large as its target would show in {n} of 100 such trials.",
        t=theirs(plan.title, 80),
        n=likely.shown(likely.shows(odds)),
    )
    change = offer(Button("Change the criterion …", "criterion.write", about(round_, plan_id)))
    return told(words, *likely.blocks(plan.criterion, plan.weeks, odds), change)


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
