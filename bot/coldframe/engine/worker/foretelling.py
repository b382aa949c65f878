"""How likely each verdict of a criterion is, before its trial begins and while it runs. Runs in the worker: takes and
gives plain values, and loads numpy only when called."""

from __future__ import annotations

from datetime import date, timedelta

from coldframe.analysis import odds
from coldframe.analysis.inputs import BadNumber
from coldframe.analysis.outcomes import Outcome
from coldframe.domain.state import Criterion, Odds
from coldframe.domain.trial.state import Trial
from coldframe.engine.worker import judging

ANY_DAY = date(2024, 1, 1)
"""The odds do not depend on when it begins."""


def odds_of(criterion: Criterion, weeks: int) -> Odds | str:
    """The odds of each verdict by its word; what cannot be judged, in words."""
    try:
        measure = judging.measure_for(criterion, weeks, ANY_DAY, ANY_DAY + timedelta(weeks=weeks))
        found = odds.of(measure, spread=criterion.spread)
    except BadNumber as bad:
        return str(bad)
    return Odds(_by_word(found.if_target), _by_word(found.if_nothing), found.drift, found.remedies)


def _by_word(shares: odds.Shares) -> dict[str, float]:
    return {outcome.value: share for outcome, share in shares.items()}


def in_vain(trial: Trial) -> float | None:
    """The chance to reach the target even if all weeks to come are as planned, where it is no use to go on; None where
    it is, or where nothing can be said yet."""
    try:
        whole = [week for week in judging.weeks_of(trial) if not week.is_gap]
        shares = odds.if_the_rest_is_as_planned(judging.measure_of(trial), whole[: trial.planned])
    except BadNumber:
        return None
    return shares[Outcome.REACHED] if shares is not None and odds.is_futile(shares) else None
