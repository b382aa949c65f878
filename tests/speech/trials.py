"""A trial with weeks in it, made without a round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from coldframe.domain.names import LeverId, MemberId, PlanId, RoundId
from coldframe.domain.state import Criterion
from coldframe.domain.trial.state import Entry, Figures, Trial, TrialId, TrialStep

START = date(2026, 3, 2)
OWNER, FACILITATOR = MemberId("mia"), MemberId("faye")

Pair = tuple[int, int]


def a_trial(**changes: Any) -> Trial:
    """Four weeks, two groups, from 4 % to 6 %, unless said otherwise."""
    criterion = Criterion(
        measure="share of visitors who sign up",
        baseline=0.04,
        target=0.06,
        weekly=2000,
        counted="first visits",
        stop_line="sign-ups fall under 2 %",
        harm="complaints a week",
    )
    base = Trial(
        id=TrialId("r1-p1"),
        tenant="t",
        team="c",
        round_id=RoundId("r1"),
        round_name="spring",
        plan=PlanId("p1"),
        title="Shorter form",
        hypothesis="If we ask three questions instead of nine, more visitors sign up.",
        question="How might we greet visitors?",
        lever=LeverId("acquisition"),
        lever_name="Acquisition",
        steps=("Cut the form",),
        criterion=criterion,
        planned=4,
        facilitator=FACILITATOR,
        people={OWNER: "Mia", FACILITATOR: "Faye"},
        owner=OWNER,
        step=TrialStep.RUNNING,
        starts=START,
        review=datetime.combine(START + timedelta(weeks=4), datetime.min.time(), UTC) + timedelta(hours=10),
    )
    about = {k: changes.pop(k) for k in list(changes) if k in Criterion.__slots__ and k not in ("weeks",)}
    return replace(base, criterion=replace(criterion, **about), **changes)


def with_split(trial: Trial, weeks: Sequence[tuple[Pair, Pair]]) -> Trial:
    """Weeks as ((successes, people) of the control, (successes, people) of the trial)."""
    return _with(trial, [Entry(n, Figures(*t), Figures(*c)) for n, (c, t) in enumerate(weeks, 1)])


def with_values(trial: Trial, weeks: Sequence[Figures]) -> Trial:
    return _with(trial, [Entry(n, figures) for n, figures in enumerate(weeks, 1)])


def _with(trial: Trial, entries: Sequence[Entry]) -> Trial:
    """Looked at every week."""
    looks = tuple(range(1, len(entries) + 1))
    return replace(trial, weeks={e.week: (e,) for e in entries}, looks=looks)
