"""Private reminders: at half and at 85 % of a person's own window, bundled, at most two a day, none when done."""

from __future__ import annotations

from datetime import datetime, timedelta

from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.round import commitment
from coldframe.domain.round.course import DECISIONS, came_in
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.trial import nudging
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, When, line
from coldframe.ports.storage import Due
from coldframe.speech.names import title
from coldframe.speech.round import prompts
from coldframe.speech.trial import owner_words
from coldframe.timing.reminders import next_nudge_time, reminder_times, within_daily_limit

STALE = timedelta(hours=12)
MOST_EACH_STEP = 2


async def schedule(turn: Turn, round_: Round) -> None:
    """Sets the reminders of the running window, and half time for the deputy of somebody who decides alone."""
    progress = round_.progress
    assert progress.opens is not None and progress.due is not None
    if round_.settings.pace == "live":
        return
    calendars = await members.expected_calendars(turn.uow, round_)
    for member, calendar in calendars.items():
        own = progress.personal.get(MemberId(member), progress.due)
        for number, at in enumerate(reminder_times(calendar, progress.opens, own, progress.due, turn.now), 1):
            turn.later("remind", round_.id, f"{round_.step}/{member}/{number}", at)
    if round_.step in DECISIONS and round_.step is not Step.COMMITMENT:
        half = progress.opens + (progress.due - progress.opens) / 2
        turn.later("deputy", round_.id, round_.step.value, max(half, turn.now))


async def remind(turn: Turn, due: Due) -> None:
    """One person's reminder has come: bundle all they owe, or drop it when it lost its meaning."""
    step, person, _ = due.occurrence.rsplit("/", 2)
    member = MemberId(person)
    round_ = await turn.uow.round(due.subject)
    if round_ is None or round_.step.value != step or turn.now - due.at > STALE or not owes(round_, member):
        await turn.uow.count("reminders dropped")
        return
    record = await turn.uow.member(round_.tenant, member)
    calendar = members.calendar_of(record)
    if not members.is_reminded(record, turn.now):
        return
    at = next_nudge_time(calendar, turn.now)
    if at > turn.now:
        turn.later("remind", due.subject, due.occurrence, at)
        return
    opened = round_.progress.opens or turn.now
    sent = await turn.uow.nudges_since(round_.tenant, member, min(opened, turn.now - timedelta(days=2)))
    if sum(at >= opened for at in sent) >= MOST_EACH_STEP:  # an extension brings no new allowance
        await turn.uow.count("reminders dropped")
        return
    if not within_daily_limit(sent, turn.now, calendar) or (sent and turn.now - sent[-1] < timedelta(minutes=30)):
        await turn.uow.count("reminders dropped")
        return
    await nudging.send_bundle(turn, round_.tenant, member, for_a_round=True)


def owes(round_: Round, member: MemberId) -> bool:
    """Whether the running step still waits for this person."""
    if round_.step not in RUNNING or round_.paused is not None or member not in round_.expected():
        return False
    if round_.step is Step.COMMITMENT:
        return member == _settles_next(round_)
    return member not in (came_in(round_) if round_.step not in DECISIONS else frozenset())


def _settles_next(round_: Round) -> MemberId:
    """Who the commitment waits for: the decision-maker to choose and to seal, the facilitator for all between."""
    deciding = not round_.choices or not commitment.missing(round_)
    return round_.roles.acting(Role.DECISION_MAKER if deciding else Role.FACILITATOR)


async def owed(turn: Turn, tenant: str, member: MemberId) -> list[tuple[Line, When]]:
    """Everything this person owes now, over all rounds and trials."""
    rounds = await owed_in_rounds(turn, tenant, member)
    trials = await nudging.open_items(turn, tenant, member)
    return [*rounds, *((owner_words.open_line(one), When(one.due)) for one in trials)]


async def owed_in_rounds(turn: Turn, tenant: str, member: MemberId) -> list[tuple[Line, When]]:
    """Everything this person owes in rounds now, the earliest first."""
    rows: list[tuple[datetime, Line]] = []
    for head in await turn.uow.heads(tenant, member=member):
        round_ = await turn.uow.round(head.id)
        if round_ is None or not owes(round_, member) or round_.progress.due is None:
            continue
        own = min(round_.progress.personal.get(member, round_.progress.due), round_.progress.due)
        rows.append((own, line("{round}: *{step}*", round=theirs(round_.name, 60), step=title(round_.step))))
    return [(what, When(at)) for at, what in sorted(rows, key=lambda r: r[0])]


async def tell_deputy(turn: Turn, due: Due) -> None:
    """Half of a window of somebody who decides alone is over: their deputy hears of it, and nobody else."""
    round_ = await turn.uow.round(due.subject)
    if round_ is None or round_.step.value != due.occurrence or round_.step not in DECISIONS:
        return
    if turn.now - due.at > STALE or round_.paused is not None:
        await turn.uow.count("reminders dropped")
        return
    role = DECISIONS[Step(due.occurrence)]
    deputy = round_.roles.deputy(role)
    if deputy is None or role in round_.roles.handed_over:
        return
    words = prompts.deputy_heads_up(round_, Role(role).value, round_.name_of(round_.roles.acting(role)))
    turn.answer(round_.tenant, deputy, words)
