"""What a person owes now, in rounds and in trials, the earliest first."""

from __future__ import annotations

from collections.abc import Collection, Container, Sequence
from datetime import date, datetime, time, timedelta

from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.round import commitment, rules, undoing
from coldframe.domain.state import Round
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.engine.core import lives, members, trial_turn
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import fates
from coldframe.message.nodes import Line, When
from coldframe.speech.names import sheet_of
from coldframe.speech.register import fate_words
from coldframe.speech.register.fate_words import Ask, Item
from coldframe.speech.trial import owner_words
from coldframe.speech.trial.owner_words import Open
from coldframe.timing.calendars import WorkingCalendar
from coldframe.timing.zones import instant

DAYS_END = time(17)
"""By when it is said whether it is live, on its day."""


async def owed(turn: Turn, tenant: str, member: MemberId, channels: Collection[str]) -> list[tuple[Line, When]]:
    """Everything this person owes now, over all rounds and trials of these channels."""
    rounds = await in_rounds(turn, tenant, member, channels)
    trials = [one for one in await in_trials(turn, tenant, member) if one.trial.team in channels]
    to_do = [(fate_words.to_do(i), When(i.fate.due)) for i in await _decided(turn, tenant, member, channels)]
    return [*rounds, *((owner_words.open_line(one), When(one.due)) for one in trials), *to_do]


async def _decided(turn: Turn, tenant: str, member: MemberId, channels: Collection[str]) -> list[Item]:
    """What this person is asked about what was decided."""
    found = [item for team in sorted(channels) for item in await fates.of_person(turn, tenant, team, member)]
    return [item for item in found if item.ask in (Ask.OWN, Ask.DONE)]


# --- in rounds ------------------------------------------------------------------------------------------------------


def owes(round_: Round, member: MemberId) -> bool:
    """Whether the running step still waits for this person."""
    if round_.step not in RUNNING or round_.paused is not None or member not in rules.expected(round_):
        return False
    if undoing.may_settle(round_, member):
        return False
    if round_.step is Step.COMMITMENT:
        return member == _settles_next(round_)
    return member not in (frozenset() if rules.RULES[round_.step].decides else rules.came_in(round_))


def _settles_next(round_: Round) -> MemberId | None:
    """Who the commitment waits for: the decision-maker to choose and to seal, the facilitator for all between; nobody
    while a choice waits for its announcement."""
    if round_.choices and not round_.told_choices():
        return None
    deciding = not round_.choices or not commitment.missing(round_)
    return round_.roles.acting(Role.DECISION_MAKER if deciding else Role.FACILITATOR)


async def in_rounds(
    turn: Turn, tenant: str, member: MemberId, channels: Container[str] | None = None
) -> list[tuple[Line, When]]:
    """Everything this person owes in rounds now, of these channels or of all, the earliest first."""
    return lines(await waiting(turn, tenant, member, channels), member)


def lines(found: Sequence[tuple[datetime, Round]], member: MemberId) -> list[tuple[Line, When]]:
    """Each with the way to the sheet that waits."""
    return [(sheet_of(round_, member), When(at)) for at, round_ in found]


async def waiting(
    turn: Turn, tenant: str, member: MemberId, channels: Container[str] | None = None
) -> list[tuple[datetime, Round]]:
    """Rounds that wait for this person, with until when, the earliest first."""
    rows: list[tuple[datetime, Round]] = []
    for head in await turn.uow.heads(tenant, member=member):
        round_ = await turn.uow.round(head.id) if channels is None or head.channel in channels else None
        own = round_.progress.part_due(member) if round_ is not None and owes(round_, member) else None
        if round_ is None or own is None:
            continue
        rows.append((own, round_))
    return sorted(rows, key=lambda r: r[0])


# --- in trials ------------------------------------------------------------------------------------------------------


async def in_trials(turn: Turn, tenant: str, person: str) -> list[Open]:
    """What this person can do for trials now, the earliest first."""
    calendar = members.calendar_of(await turn.uow.member(tenant, person))
    found: list[Open] = []
    owned = {trial.team for trial in await turn.uow.trials_owned(tenant, person)}
    for team in sorted({*owned, *await turn.uow.teams_of(tenant, person)}):
        for trial in await turn.uow.trials_of(tenant, team):
            if trial.step in UNDER_WAY:
                today = trial_turn.day_of(trial, calendar, turn.now)
                found += _open_of(trial, MemberId(person), calendar, today)
    return sorted(found, key=lambda one: one.due)


def _open_of(trial: Trial, person: MemberId, calendar: WorkingCalendar, today: date) -> list[Open]:
    found = [
        Open(trial, "action", a.id, a.due)
        for a in trial.open_actions()
        if a.who == person and calendar.local_day(a.due) <= today
    ]
    if trial.owner == person:
        found += _of_owner(trial, calendar, today)
    return found


def _of_owner(trial: Trial, calendar: WorkingCalendar, today: date) -> list[Open]:
    """Whether it is live, from its day on; the numbers of each week whose people can be counted, best before the next
    one's are asked for."""
    expected = trial.live_expected()
    if trial.step is TrialStep.BUILDING:
        due = expected is not None and expected <= today
        return [Open(trial, "live", lives.LIVE, instant(expected, DAYS_END, calendar.tz))] if due and expected else []
    return [
        Open(trial, "week", str(week), instant(counted + timedelta(days=7), time(0), calendar.tz))
        for week in trial.unlogged(today)
        if (counted := trial.counted_from(week)) is not None
    ]
