"""Who came and went while nobody listened. A platform tells of it once, so after an absence, however short, the members
of each channel in which something is under way are read; what the roster does not know is heard as if it had been told.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from coldframe.domain.names import MemberId
from coldframe.domain.people.aliases import is_nobody
from coldframe.engine.core import damage, members, receiving
from coldframe.engine.core.turn import Aside, Carry, Kit, Turn, due_turn
from coldframe.engine.round import comparing
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import ChatError, Inbound, Joined, Left, Person, Place, Unreachable
from coldframe.ports.storage import Due, UnitOfWork

ROSTER = "roster"
MAX_TRIES = 10


async def after_absence(kit: Kit) -> None:
    """Sets what is to be read, a row for each channel: it is done in the background."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        for tenant, team in await uow.all_teams():
            if await _seated(uow, tenant, team):
                turn.later(ROSTER, Occurrence((tenant, team)).pack(), "0", turn.now)
        await turn.finish()


async def _seated(uow: UnitOfWork, tenant: str, team: str) -> dict[MemberId, bool]:
    """Everybody with a seat in what is under way there, and whether they take part in any of it."""
    found: dict[MemberId, bool] = {}
    for head in await uow.heads(tenant, channel=team):
        round_ = await uow.round(head.id)
        for member, seat in round_.seats.items() if round_ is not None else ():
            found[member] = found.get(member, False) or not seat.left
    for trial in await uow.trials_of(tenant, team):
        found |= dict.fromkeys(trial.people, True)
    return {member: takes_part for member, takes_part in found.items() if not is_nobody(member)}


async def _compare(kit: Kit, due: Due) -> None:
    """`occurrence` is how often the platform could not be asked."""
    tenant, team = Occurrence.unpack(due.subject).parts
    place, tries = Place(tenant, "channel", team), int(due.occurrence)
    there = await _members(kit, place)
    for event in await damage.apart(lambda: _news(kit, place, there)) if there else ():
        await damage.apart(lambda event=event: receiving.receive(kit, event))  # type: ignore[misc]
    async with due_turn(kit, due) as turn:
        if there:
            await members.were_seen(turn.uow, place, there)
        if there is None and tries < MAX_TRIES:
            turn.later(ROSTER, due.subject, str(tries + 1), turn.now + comparing.pause(tries))


async def _members(kit: Kit, place: Place) -> Sequence[Person] | None:
    """None where they cannot be read just now; nobody where the bot is not let in, which is told in another way."""
    try:
        return await kit.chat.members(place)
    except Unreachable:
        return ()
    except ChatError:
        return None


async def _news(kit: Kit, place: Place, there: Sequence[Person]) -> list[Inbound]:
    """Whoever takes part and is not there has left. Who is there and may take part, and was not there before, has come;
    others without a seat were there, or the facilitator took them off."""
    here = [person for person in there if not person.is_bot and not person.is_gone]
    async with kit.store.begin() as uow:
        seated = await _seated(uow, place.tenant, place.id)
        before = await _before(uow, place, here)
    left = [member for member, takes_part in seated.items() if takes_part and member not in {p.id for p in here}]
    came = [p.id for p in here if not p.is_foreign and p.id not in seated and p.id not in before]
    now = kit.clock.now()

    def heard(person: str, what: Joined | Left) -> Inbound:
        key = f"roster/{place.order_key()}/{type(what).__name__}/{person}/{now.isoformat()}"
        return Inbound(key, person, place, now, what)

    return [*(heard(person, Left()) for person in left), *(heard(person, Joined()) for person in came)]


async def _before(uow: UnitOfWork, place: Place, here: Sequence[Person]) -> Collection[str]:
    """Who of these was there already. Where that was never seen, or is told by marks of another key: whoever was ever
    heard of."""
    present = (await uow.team(place.tenant, place.id)).present
    found = [person.id for person in here if uow.mark(place.tenant, person.id) in present]
    return found or await uow.members(place.tenant, [person.id for person in here])


DUE: Mapping[str, Carry] = {ROSTER: Aside(_compare)}
