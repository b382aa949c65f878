"""What reaches somebody outside their hours or while they are away, over rounds of random teams in `days` pace.

`python -m tests.bench.hours [teams] [first seed]`. Zones on both sides of the date line, part-time weeks, split days,
public holidays, quiet hours and leave. The round is moved on at random moments by what nobody said to the bot, so that
nothing is the answer to an act: each private message must stand in its reader's own working time.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from coldframe.chat.room.log import CLEARED
from coldframe.clock import ManualClock
from coldframe.domain.commands import Command
from coldframe.domain.names import ForceId, MemberId, NoteId, PrecedentId, QuestionId, Role, Side, Step
from coldframe.domain.refusals import Refused
from coldframe.domain.round import rules
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.choosing import ChoosePlan
from coldframe.domain.round.merging import PickFocus
from coldframe.domain.round.moves import Close, Resume
from coldframe.domain.round.notes import WriteNote
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import GivePrecedent, WriteQuestion
from coldframe.domain.state import Round
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, REASON, RETENTION, a_plan
from tests.engine.clockwork import Running, begin, house_on
from tests.engine.reaching import TOPICS
from tests.shared import finished

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
ZONES = (
    "Europe/London", "Asia/Kolkata", "America/New_York", "Pacific/Auckland", "America/Los_Angeles", "Asia/Tokyo",
    "Pacific/Honolulu", "Africa/Nairobi", "America/St_Johns", "Australia/Lord_Howe",
)  # fmt: skip
COUNTRIES = (None, None, "GB", "IN", "US", "NZ", "JP")
MOVES = 12
MAX_WAIT = 60  # hours between two moves
IN_THE_END = timedelta(days=10)


@dataclass
class Heard:
    """Private messages of one team's round."""

    messages: int
    late: list[str]


def a_calendar(rnd: random.Random) -> WorkingCalendar:
    start, length = rnd.randrange(5, 13), rnd.randrange(3, 10)
    hours: tuple[tuple[time, time], ...] = ((time(start), time(min(start + length, 23))),)
    if rnd.random() < 0.3:  # a long break
        hours = ((time(start), time(start + 2)), (time(start + 4), time(min(start + 7, 23))))
    leave = MONDAY.date() + timedelta(days=rnd.randrange(0, 12))
    away: tuple[tuple[date, date], ...] = ((leave, leave + timedelta(days=rnd.randrange(0, 8))),)
    days = frozenset(rnd.sample(range(7), rnd.randrange(2, 6)))
    return WorkingCalendar(
        zone=rnd.choice(ZONES), days=days, hours=hours, country=rnd.choice(COUNTRIES),
        away=away if rnd.random() < 0.3 else (), quiet=rnd.choice([None, (time(19), time(8))]),
    )  # fmt: skip


async def one_round(seed: int, folder: Path) -> Heard:
    rnd = random.Random(seed)
    people = EVERYBODY[: rnd.randrange(3, 7)]
    calendars = {member: a_calendar(rnd) for member in people}
    clock = ManualClock(MONDAY)
    async with house_on(clock, folder) as house:
        team = Running(house, clock, await begin(house, calendars, weight_confirmed=True))
        await team.settle()
        for number in range(MOVES):
            await team.until(clock.now() + timedelta(hours=rnd.uniform(0, MAX_WAIT)))
            await _moves_on(team, number)
        await team.until(clock.now() + IN_THE_END)
        return _heard(team, calendars)


async def _moves_on(team: Running, number: int) -> None:
    """What everybody gives in the running step, and its close, as far as the step takes it just now."""
    round_ = await team.current()
    facilitator = round_.roles.acting(Role.FACILITATOR)
    commands: list[Command] = [Resume(facilitator)] if round_.paused is not None else []
    for nth, command in enumerate([*commands, *_given(round_), Close(facilitator)]):
        with suppress(Refused):
            await team.act(f"{number}/{nth}", command)


def _given(round_: Round) -> Sequence[Command]:
    chief, people = round_.roles.acting(Role.DECISION_MAKER), rules.expected(round_)
    match round_.step:
        case Step.NOTES:
            kinds = (RETENTION, Side.RESTRAINING)
            return [WriteNote(m, NoteId(f"n{i}"), *kinds, TOPICS[i]) for i, m in enumerate(people)]
        case Step.FOCUS:
            return [PickFocus(chief, RETENTION, REASON)]
        case Step.DOTS | Step.BALLOT:
            forces = [force.id for force in round_.forces]
            options = forces if round_.step is Step.DOTS else list(round_.plan_order)
            return [CastVote(m, options[i % len(options)], "button") for i, m in enumerate(people) if options]
        case Step.QUESTIONS:
            force = next(s.option for s in round_.forces_standing if s.carried)
            facilitator = round_.roles.acting(Role.FACILITATOR)
            return [WriteQuestion(facilitator, QuestionId("q1"), ForceId(force), "How might we greet new teams?")]
        case Step.PRECEDENTS:
            return [GivePrecedent(chief, PrecedentId("x1"), QuestionId("q1"), "A library", "They rang.")]
        case Step.PLANS:
            return [HandInPlan(m, a_plan(f"p{i}")) for i, m in enumerate(people[:3])]
        case Step.COMMITMENT:
            return [ChoosePlan(chief, plan) for plan in round_.plan_order[:2]]
        case _:
            return []


def _heard(team: Running, calendars: dict[MemberId, WorkingCalendar]) -> Heard:
    room, found, late = team.house.room, 0, []
    for member, calendar in calendars.items():
        for record in room.log.messages(room.direct(member)):
            if record.by_bot and record.message is not None and record.key != CLEARED:  # that calls nobody back
                found += 1
                if not calendar.is_working(record.at):
                    late.append(f"{member}, {record.at:%a %d %b %H:%M} UTC, {calendar}: {record.message.summary}")
    return Heard(found, late)


def main(teams: int = 200, first: int = 1) -> int:
    messages, late = 0, 0
    for seed in range(first, first + teams):
        with tempfile.TemporaryDirectory() as folder:
            heard = finished(one_round(seed, Path(folder)))
        messages, late = messages + heard.messages, late + len(heard.late)
        for line in heard.late:
            print(f"seed {seed}: {line}", flush=True)
    print(f"{teams} teams, {messages:,} private messages, {late} outside the hours of whoever got them")
    return bool(late)


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:])))
