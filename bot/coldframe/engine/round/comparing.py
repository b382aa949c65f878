"""What people wrote in private, and which emoji they put, as the platform shows it now, compared with what is stored:
at every return, before a ballot is handed in, and before a step closes or is sealed. So nothing is lost that happened
while nobody listened, whatever kept the bot away and however short. At a return lines are read by `listening`, once for
all rounds of whoever wrote them.

What is found goes the way of any other happening. It wins over what was stored when the reading began, and not over
what came in since.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.people.aliases import is_nobody
from coldframe.domain.refusals import Refused
from coldframe.domain.round.ballots import LockBallot, Reconcile
from coldframe.domain.round.commitment import SeeDigits
from coldframe.domain.round.moves import Done
from coldframe.domain.state import Ledger, Mark, Round
from coldframe.engine.core import damage, lives, receiving
from coldframe.engine.core.turn import Aside, Carry, Kit, Turn, due_turn
from coldframe.engine.trial import forecasts
from coldframe.message.emoji import DIGITS, FINISHED
from coldframe.message.packed import ELSEWHERE, MessageName, Occurrence, Origin
from coldframe.ports.chat import Capabilities, ChatError, Edited, Erased, Inbound, Place, Said, SlowDown, Unreachable
from coldframe.ports.storage import Damaged, Due, Posted
from coldframe.speech.refusals import refusal

LOOK = "look again"
MARGIN = timedelta(minutes=2)  # for clocks that disagree
FIRST_PAUSE, MAX_PAUSE = timedelta(seconds=30), timedelta(minutes=30)
MAX_SLOW = 300.0  # seconds that one person's reading waits where the platform asks for it
LOOK_AFTER = 20.0  # seconds
MAX_IN_A_ROW = 3  # people who cannot be read, one after the other: then nobody can

Read = Callable[[Kit, Round, MemberId], Awaitable[None]]


def pause(tries: int) -> timedelta:
    """How long to wait before the platform is read again."""
    return min(FIRST_PAUSE * (1 << min(tries, 16)), MAX_PAUSE)


async def after_absence(kit: Kit) -> None:
    """Sets what is to be compared: every step under way in which people answer by emoji. It is done in the background,
    while the bot answers already."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        for due in await uow.dues("close"):
            if due.occurrence in BY_EMOJI:
                turn.later(LOOK, due.subject, Occurrence((due.occurrence, "0")).pack(), turn.now)
        await turn.finish()


async def _look(kit: Kit, due: Due) -> None:
    """`occurrence` is the step, the number of tries before, and the people who could not be read then."""
    step, tries, *people = Occurrence.unpack(due.occurrence).parts
    round_ = await current(kit, due.subject)
    unread: tuple[MemberId, ...] = ()
    if round_ is not None and round_.step.value == step:
        unread = await compare(kit, due, round_, [MemberId(p) for p in people] or None)
    async with due_turn(kit, due) as turn:
        if unread and await turn.uow.step_of(due.subject) == step:
            again = Occurrence((step, str(int(tries) + 1), *unread))
            turn.later(LOOK, due.subject, again.pack(), turn.now + pause(int(tries)))


async def compare(kit: Kit, due: Due, round_: Round, people: Sequence[MemberId] | None = None) -> tuple[MemberId, ...]:
    """Reads what these people did in the step, or all who may have done something; returns who could not be read."""
    how = COMPARED.get(round_.step.value)
    if how is None or not how.can(kit.chat.capabilities):
        return ()
    about = people if people is not None else await how.who(kit, round_)
    return await one_by_one(kit, due, round_.tenant, about, lambda member: how.read(kit, round_, member))


async def one_by_one(
    kit: Kit, due: Due, tenant: str, people: Iterable[MemberId], read: Callable[[MemberId], Awaitable[None]]
) -> tuple[MemberId, ...]:
    """Who of these people could not be read. The row for which it is done is kept until then, however long that
    takes."""
    waiting, unread = [person for person in people if not is_nobody(person)], list[MemberId]()
    in_a_row = 0
    while waiting and in_a_row < MAX_IN_A_ROW:
        member = waiting.pop(0)
        await kit.store.hold_due(due, kit.clock.now())
        in_a_row = 0 if await _is_read(kit, due, tenant, member, read) else in_a_row + 1
        if in_a_row:
            unread.append(member)
    return (*unread, *waiting)


async def _is_read(
    kit: Kit, due: Due, tenant: str, member: MemberId, read: Callable[[MemberId], Awaitable[None]]
) -> bool:
    try:
        await _patiently(kit, due, lambda: read(member))
    except Unreachable:
        return await _is_gone(kit, tenant, member)
    except ChatError:
        return False
    return True


async def _patiently(kit: Kit, due: Due, reading: Callable[[], Awaitable[None]]) -> None:
    """What the platform asks to do slower is done slower. Raises ChatError."""
    waited = 0.0
    while True:
        try:
            return await reading()
        except SlowDown as slow:
            waited += slow.seconds
            if waited > MAX_SLOW:
                raise
            left = slow.seconds
        while left > 0:
            await kit.store.hold_due(due, kit.clock.now())
            await kit.clock.sleep(min(left, LOOK_AFTER))
            left -= LOOK_AFTER


async def _is_gone(kit: Kit, tenant: str, member: MemberId) -> bool:
    """Whose account is no more can have done nothing since."""
    try:
        return (await kit.chat.person(tenant, member)).is_gone
    except ChatError:
        return False


def begin(kit: Kit, due: Due, what: str) -> None:
    """What follows the reading is an occasion of its own: what was found had others."""
    kit.ids.occasion(f"{what}/{due.kind}/{due.subject}/{due.occurrence}/{due.at.isoformat()}")


async def current(kit: Kit, round_id: str) -> Round | None:
    async with kit.store.begin() as uow:
        return await uow.round(round_id)


# --- lines ---


async def _writers(kit: Kit, round_: Round) -> tuple[MemberId, ...]:
    return round_.active()


async def _read_lines(kit: Kit, round_: Round, member: MemberId) -> None:
    now_round = await current(kit, round_.id)
    if now_round is not None and takes_lines(now_round):
        await read_lines(kit, Place(round_.tenant, "direct", member), [now_round])


def takes_lines(round_: Round) -> bool:
    return round_.step is Step.NOTES and round_.progress.opens is not None


async def read_lines(kit: Kit, place: Place, rounds: Sequence[Round], since: datetime | None = None) -> None:
    """All that this person's notes and drafts in these rounds were made of, and what they wrote besides, since the
    first of them opened or before: the conversation is read once, however many rounds there are. Raises ChatError."""
    member = MemberId(place.id)
    made = {round_.id: made_of(round_, member) for round_ in rounds}
    known = {message for messages in made.values() for message in messages}
    waiting = await _waiting(kit, place) - known if rounds else set()
    begun = [round_.progress.opens - MARGIN for round_ in rounds if round_.progress.opens is not None]
    lines = await kit.chat.written(place, min(begun if since is None else [*begun, since]), (*known, *waiting))
    standing = {line.what.message: line for line in lines if isinstance(line.what, Said)}
    for round_id, messages in made.items():
        for message, edition in messages.items():
            if (found := _changed(kit, place, standing.get(message), message, edition)) is not None:
                await _heard(kit, found, _still_made_of(round_id, member, message, edition))
    for message in waiting:
        if (found := _changed(kit, place, standing.get(message), message, "")) is not None:
            await _heard(kit, found)
    for line in lines:
        if isinstance(line.what, Said) and line.what.message not in known | waiting and not line.what.files:
            await _heard(kit, line)  # a file comes by the platform's own way, with its content


async def _waiting(kit: Kit, place: Place) -> set[str]:
    """This person's messages of which it is asked which round they are for."""
    async with kit.store.begin() as uow:
        asked = await uow.posted_like(MessageName(lives.WHICH, place.id, ("",)).pack())
    return {MessageName.unpack(p.name).rest[0] for p in asked if p.place.root() == place}


async def _heard(kit: Kit, found: Inbound, holds: receiving.Holds | None = None) -> None:
    """A line that was heard has no second effect. What is damaged was logged where it was found, and concerns this line
    alone."""
    with suppress(Damaged):
        await damage.apart(lambda: receiving.receive(kit, found, holds))


def made_of(round_: Round, member: MemberId) -> dict[str, str]:
    """The messages of which this person's notes and drafts were made, with the edition that they were made of."""
    mine: list[str] = [n.origin for n in round_.notes.values() if n.author == member]
    mine += [d.origin for d in round_.drafts.values() if d.author == member]
    origins = (Origin.unpack(o) for o in mine if o)
    return {origin.message: origin.edition for origin in origins if origin.edition != ELSEWHERE}


def _changed(kit: Kit, place: Place, line: Inbound | None, message: str, edition: str) -> Inbound | None:
    """What happened to a message since it had this edition."""
    key = f"found/{place.tenant}/{place.id}/{message}/{edition}>"
    if line is None or not isinstance(line.what, Said):
        return Inbound(f"{key}gone", place.id, place, kit.clock.now(), Erased(message))
    newest = line.what.edition
    if newest == edition:
        return None
    what = Edited(message, line.what.text, newest)
    return Inbound(f"{key}{newest}", place.id, line.place, kit.clock.now(), what)


def _still_made_of(round_id: str, member: MemberId, message: str, edition: str) -> receiving.Holds:
    async def holds(turn: Turn) -> bool:
        return made_of(await turn.round(round_id), member).get(message) == edition

    return holds


# --- votes ---


async def _voters(kit: Kit, round_: Round) -> tuple[MemberId, ...]:
    ledger = round_.ledger()
    locked = ledger.locked if ledger is not None else frozenset()
    async with kit.store.begin() as uow:
        posted = await uow.posted_like(MessageName(round_.id, "ballot", ("",)).pack())
    found = [name.rest for name in (MessageName.unpack(p.name) for p in posted)]
    return tuple(MemberId(voter) for voter, step in found if step == round_.step.value and voter not in locked)


async def _options(kit: Kit, round_: Round, voter: MemberId) -> list[Posted]:
    """Where the options of the running ballot stand as lines for this voter's emoji."""
    prefix = MessageName(round_.id, "option", (voter, "")).pack()
    async with kit.store.begin() as uow:
        posted = await uow.posted_like(prefix)
    return [p for p in posted if _voter_step_option(p)[1] == round_.step.value]


def _voter_step_option(posted: Posted) -> tuple[MemberId, str, str]:
    voter, step, option = MessageName.unpack(posted.name).rest
    return MemberId(voter), step, option


async def _read_votes(kit: Kit, round_: Round, voter: MemberId) -> None:
    before = await current(kit, round_.id)
    if before is None or before.step is not round_.step:
        return
    pairs = await _pairs(kit, before, voter)
    signed = await _is_signed(kit, before, voter)
    kit.ids.occasion(f"read/{round_.id}/{round_.step}/{voter}/{kit.clock.now().isoformat()}")
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        after = await turn.round(round_.id)
        if after.step is before.step and _marks(after, voter) == _marks(before, voter):
            after = await turn.act(after, Reconcile(BOT, {voter: pairs}))
            if signed and await uow.first_time(sign_key(after, voter), turn.now):
                await _finish(turn, after, voter)
            await turn.finish()


def sign_key(round_: Round, voter: MemberId) -> str:
    """By which is known that the voter's sign of being through was heard: what they did after it is newer."""
    return f"finished/{round_.id}/{round_.step}/{voter}"


async def _is_signed(kit: Kit, round_: Round, voter: MemberId) -> bool:
    """Whether the voter says by an emoji under the ballot itself that they are through. Raises ChatError."""
    async with kit.store.begin() as uow:
        ballot = await uow.posted(MessageName(round_.id, "ballot", (voter, round_.step.value)).pack())
    if ballot is None:
        return False
    try:
        shown = await kit.chat.reactions(ballot.place, ballot.message_id)
    except Unreachable:
        return False  # it stands nowhere any more
    return any(r.person == voter and r.emoji in FINISHED for r in shown)


async def _finish(turn: Turn, round_: Round, voter: MemberId) -> None:
    """What would have been refused at once is said now."""
    try:
        await turn.act(round_, LockBallot(voter) if round_.step is Step.BALLOT else Done(voter))
    except Refused as refused:
        turn.answer(round_.tenant, voter, refusal(refused), ask=True)


async def _pairs(kit: Kit, round_: Round, voter: MemberId) -> tuple[tuple[str, str], ...]:
    """The emoji that the voter has on their options now. On an option that stands nowhere, or nowhere any more, they
    stay as they were; where none of those that stood can be read, the voter cannot. Raises ChatError."""
    options = await _options(kit, round_, voter)
    found: dict[str, list[tuple[str, str]]] = {}
    for mark in _marks(round_, voter):
        found.setdefault(mark.option, []).append((mark.option, mark.sign))

    async def read(posted: Posted) -> None:
        option = _voter_step_option(posted)[2]
        shown = await kit.chat.reactions(posted.place, posted.message_id)
        found[option] = [(option, r.emoji) for r in shown if r.person == voter]

    await _read_each(options, read)
    return tuple(pair for option in sorted(found) for pair in found[option])


async def _read_each(messages: Sequence[Posted], read: Callable[[Posted], Awaitable[None]]) -> list[Posted]:
    """Those that stand nowhere any more. Raises Unreachable where that is so of all of them, and ChatError."""
    gone: list[Posted] = []
    for posted in messages:
        try:
            await read(posted)
        except Unreachable:
            gone.append(posted)
            if len(gone) == len(messages):
                raise
    return gone


def _marks(round_: Round, voter: MemberId) -> tuple[Mark, ...]:
    ledger: Ledger | None = round_.ledger()
    return ledger.marks.get(voter, ()) if ledger else ()


# --- forecasts ---


async def _asked_to_forecast(kit: Kit, round_: Round) -> tuple[MemberId, ...]:
    names = [MessageName.unpack(p.name) for p in await _questions(kit, round_)]
    return tuple(dict.fromkeys(MemberId(name.rest[0]) for name in names))


async def _questions(kit: Kit, round_: Round, *member: MemberId) -> list[Posted]:
    async with kit.store.begin() as uow:
        return await uow.posted_like(MessageName(round_.id, forecasts.NAME, (*member, "")).pack())


async def _read_forecasts(kit: Kit, round_: Round, member: MemberId) -> None:
    """A question that stands nowhere any more says nothing; where none can be read, its reader cannot. Raises
    ChatError."""
    questions = await _questions(kit, round_, member)
    await _read_each(questions, lambda posted: _read_forecast(kit, round_.id, member, posted))


async def _read_forecast(kit: Kit, round_id: str, member: MemberId, posted: Posted) -> None:
    before, plan = await current(kit, round_id), PlanId(MessageName.unpack(posted.name).rest[1])
    if before is None or (known := _forecast(before, member, plan)) is None:
        return
    shown = await kit.chat.reactions(posted.place, posted.message_id)
    digits = tuple(sorted(DIGITS.index(r.emoji) for r in shown if r.person == member and r.emoji in DIGITS))
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        after = await turn.round(round_id)
        if _forecast(after, member, plan) == known:
            await turn.act(after, SeeDigits(member, plan, digits))
            await turn.finish()


def _forecast(round_: Round, member: MemberId, plan: PlanId) -> tuple[object, ...] | None:
    """All that is known of it; None where there is nothing to forecast any more."""
    choice = round_.choices.get(plan)
    if choice is None or round_.step is not Step.COMMITMENT:
        return None
    return choice.forecasts.get(member), choice.digits.get(member)


# --- which step is compared, and how ---


@dataclass(frozen=True, slots=True)
class Compared:
    """How a step is compared: what the platform must be able to do, whom it is about, and what is read."""

    can: Callable[[Capabilities], bool]
    who: Callable[[Kit, Round], Awaitable[Iterable[MemberId]]]
    read: Read


_LINES = Compared(lambda can: can.reads_history, _writers, _read_lines)
_VOTES = Compared(lambda can: can.reads_reactions, _voters, _read_votes)
_FORECASTS = Compared(lambda can: can.reads_reactions, _asked_to_forecast, _read_forecasts)
COMPARED: Mapping[str, Compared] = {
    Step.NOTES.value: _LINES,
    Step.DOTS.value: _VOTES,
    Step.BALLOT.value: _VOTES,
    Step.COMMITMENT.value: _FORECASTS,
}
BY_EMOJI = frozenset(COMPARED) - {Step.NOTES.value}
BEFORE_CLOSE = frozenset({Step.NOTES.value, Step.DOTS.value, Step.BALLOT.value})
"""Steps whose close reveals or counts what was given in them."""
DUE: Mapping[str, Carry] = {LOOK: Aside(_look)}
