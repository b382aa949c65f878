"""Lines typed in direct messages while nobody listened: notes, and what else such a line is taken for, a wording for a
question, a week's numbers, a late note, the answer to a question of the bot's. Whatever the absence was, the
conversations in which such a line would have been taken are read again from a little before it, of whoever writes notes
from where those began, and what was not heard is heard.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from coldframe.domain.names import MemberId, Step
from coldframe.domain.state import Round
from coldframe.domain.trial.state import UNDER_WAY
from coldframe.engine.core import damage
from coldframe.engine.core.turn import Aside, Carry, Kit, Turn, due_turn
from coldframe.engine.round import comparing
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Place
from coldframe.ports.storage import Due, UnitOfWork

LISTEN = "listen again"
BEFORE = timedelta(minutes=5)  # an absence of a platform's connection alone has no beginning; longer ones are told
MAX_BACK = timedelta(days=7)


async def after_absence(kit: Kit, gone: timedelta) -> None:
    """Sets what is to be read, a row for each workspace: it is done in the background. A reading that still waits is
    part of the new one."""
    if not kit.chat.capabilities.reads_history:
        return
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        since = {tenant: turn.now - min(gone + BEFORE, MAX_BACK) for tenant, _ in await uow.all_teams()}
        for waiting in await uow.dues(LISTEN):
            since[waiting.subject] = min(_since(waiting), since.get(waiting.subject, turn.now))
            await uow.drop_due(waiting.subject, kind=LISTEN)
        for tenant, at in since.items():
            turn.later(LISTEN, tenant, Occurrence((at.isoformat(), "0")).pack(), turn.now)
        await turn.finish()


def _since(due: Due) -> datetime:
    return datetime.fromisoformat(Occurrence.unpack(due.occurrence).parts[0])


async def _listen(kit: Kit, due: Due) -> None:
    """`occurrence` is the moment from which is read, the number of tries before, and who could not be read then."""
    _, tries, *people = Occurrence.unpack(due.occurrence).parts
    since, tenant = _since(due), due.subject
    about = [MemberId(p) for p in people] or await damage.apart(lambda: _awaited(kit, tenant))
    unread = await comparing.one_by_one(kit, due, tenant, about, lambda member: _hear(kit, tenant, member, since))
    async with due_turn(kit, due) as turn:
        if unread and turn.now - since < MAX_BACK:
            again = Occurrence((since.isoformat(), str(int(tries) + 1), *unread))
            turn.later(LISTEN, tenant, again.pack(), turn.now + comparing.pause(int(tries)))


async def _hear(kit: Kit, tenant: str, member: MemberId, since: datetime) -> None:
    rounds = await damage.apart(lambda: _in_notes(kit, tenant, member))
    await comparing.read_lines(kit, Place(tenant, "direct", member), rounds, since)


async def _in_notes(kit: Kit, tenant: str, member: MemberId) -> list[Round]:
    """Rounds for which they write notes now."""
    async with kit.store.begin() as uow:
        heads = [head for head in await uow.heads(tenant, member=member) if head.step is Step.NOTES]
        rounds = [round_ for head in heads if (round_ := await uow.round(head.id)) is not None]
    return [r for r in rounds if comparing.takes_lines(r) and r.paused is None and member in r.active()]


# --- whose lines are waited for ---


async def _awaited(kit: Kit, tenant: str) -> list[MemberId]:
    """Everybody in a running round, and who sees to the numbers of a trial."""
    async with kit.store.begin() as uow:
        heads = [head for head in await uow.heads(tenant) if head.step is not Step.SETUP]
        rounds = [round_ for head in heads if (round_ := await uow.round(head.id)) is not None]
        people = [member for round_ in rounds for member in round_.active()] + await _loggers(uow, tenant)
    return list(dict.fromkeys(people))


async def _loggers(uow: UnitOfWork, tenant: str) -> list[MemberId]:
    teams = [team for of_tenant, team in await uow.all_teams() if of_tenant == tenant]
    trials = [trial for team in teams for trial in await uow.trials_of(tenant, team) if trial.step in UNDER_WAY]
    return [person for trial in trials for person in (trial.owner, trial.facilitator) if person is not None]


DUE: Mapping[str, Carry] = {LISTEN: Aside(_listen)}
