"""A trial that ran before coldframe: entered by the facilitator so that places and register are true from the first
day. What decides about it was not fixed here beforehand, which stays written on it."""

from __future__ import annotations

from datetime import date, datetime

from coldframe.domain import checks
from coldframe.domain.names import LeverId, MemberId, PlanId, Role
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Criterion, Round
from coldframe.domain.texts import accepted
from coldframe.domain.trial.state import Trial, TrialId, TrialStep

MOST_WEEKS = 12  # weeks that are left
MOST_TITLE, MOST_SOURCE = 75, 300  # characters


def running(
    round_: Round,
    name: str,
    *,
    title: str,
    lever: str,
    source: str,
    criterion: Criterion,
    weeks: int,
    zone: str,
    live: date,
    starts: date,
    review: datetime,
    owner: MemberId | None,
    asked: MemberId | None,
) -> Trial:
    """It takes a place at once. Where its criterion is incomplete it is counted and nothing more. `live`: since when it
    runs; what came before `starts` is shown and not judged, since its criterion was not fixed then."""
    if lever:
        checks.lever(round_, LeverId(lever))
    if not 1 <= weeks <= MOST_WEEKS:
        raise Refused(Because.BAD_SETTING, setting="weeks", value=weeks, allowed=f"1 to {MOST_WEEKS}")
    return Trial(
        id=TrialId(f"{round_.id}-{name}"),
        tenant=round_.tenant,
        team=round_.channel,
        round_id=round_.id,
        round_name=round_.name,
        plan=PlanId(name),
        title=accepted(title, MOST_TITLE, field="title"),
        hypothesis="",
        question="",
        lever=LeverId(lever),
        lever_name=dict(round_.settings.levers).get(LeverId(lever), ""),
        steps=(),
        criterion=criterion,
        planned=weeks,
        facilitator=round_.roles.acting(Role.FACILITATOR),
        people={m: round_.name_of(m) for m in round_.active()},
        deputy=round_.roles.deputy(Role.FACILITATOR),
        owner=owner,
        asked=asked,
        offers=int(asked is not None),
        step=TrialStep.RUNNING,
        decision_maker=round_.roles.acting(Role.DECISION_MAKER),
        zone=zone,
        live=live,
        starts=starts,
        review=review,
        brought=accepted(source, MOST_SOURCE, field="written"),
    )
