"""Due rows: what each kind does when its moment has come. Reading the platform and heavy numbers come first, outside
any transaction; then one transaction decides and writes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from datetime import timedelta

from bot.domain.commands import BOT, Close, ProposeMerges, Reconcile
from bot.domain.names import MemberId, Step
from bot.domain.refusals import Refused
from bot.domain.state import Ledger, Mark, MergeProposal, Round
from bot.engine import explaining, opening, personal, reminders, retention, trials
from bot.engine.kit import Kit
from bot.engine.turn import Turn
from bot.ports.chat import ChatError
from bot.ports.storage import Due, Posted
from bot.speech import commitment_words, results
from bot.speech.names import message_name

READ_AGAIN = timedelta(minutes=1)
MOST_READINGS = 5
Handler = Callable[[Kit, Due], Awaitable[None]]


@asynccontextmanager
async def _turn(kit: Kit, due: Due) -> AsyncIterator[Turn]:
    """A turn now, never before the row's moment, though the clock may have gone back. The row ends with it, in one
    transaction: who dies afterwards does not leave it to be carried out again."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, max(kit.clock.now(), due.at))
        await uow.drop_due(due.subject, kind=due.kind, occurrence=due.occurrence)
        yield turn
        await turn.finish()


async def carry_out(kit: Kit, due: Due) -> None:
    """Does what is due. A refusal means that the round moved on meanwhile: the row is done."""
    kit.ids.occasion(f"due/{due.kind}/{due.subject}/{due.occurrence}/{due.at.isoformat()}")
    try:
        await HANDLERS[due.kind](kit, due)
    except Refused:
        async with kit.store.begin() as uow:
            await uow.count("due rows overtaken")


# --- closing ---


async def _close(kit: Kit, due: Due) -> None:
    await _closing(kit, due, "due")


async def _settle(kit: Kit, due: Due) -> None:
    await _closing(kit, due, "all in")


async def _closing(kit: Kit, due: Due, how: str) -> None:
    """Closes a step at its time; a ballot only after the platform's own reactions were read."""
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
        options = await _options(Turn(kit, uow, kit.clock.now()), round_)
    if round_ is None or round_.step.value != due.occurrence or round_.paused is not None:
        return
    found = await _read_reactions(kit, options)
    if found is None and await _try_later(kit, due):
        return
    async with _turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step.value != due.occurrence:
            return
        if found:
            now_round = await turn.act(now_round, Reconcile(BOT, _unchanged(round_, now_round, found)))
        await turn.act(now_round, Close(BOT, how="due" if how == "due" else "all in"))


async def _options(turn: Turn, round_: Round | None) -> list[Posted]:
    """Where the options of the running ballot stand, for every voter."""
    if round_ is None or round_.ledger() is None:
        return []
    return [p for p in await turn.uow.posted_like(f"{round_.id}/option/") if p.name.split("/")[3] == round_.step.value]


Found = dict[MemberId, tuple[tuple[str, str], ...]]


async def _read_reactions(kit: Kit, options: list[Posted]) -> Found | None:
    """The emoji that each voter has on their options now; None when the platform cannot be read."""
    found: dict[MemberId, list[tuple[str, str]]] = defaultdict(list)
    try:
        for posted in options:
            _, _, voter, _, option = posted.name.split("/")
            shown = await kit.chat.reactions(posted.place, posted.message_id)
            found[MemberId(voter)] += [(option, r.emoji) for r in shown if r.person == voter]
    except ChatError:
        return None
    return {voter: tuple(pairs) for voter, pairs in found.items()}


async def _try_later(kit: Kit, due: Due) -> bool:
    """The platform could not be read: the close waits a minute, five times at most, then goes by the ledger."""
    async with kit.store.begin() as uow:
        round_ = await uow.round(due.subject)
        assert round_ is not None and round_.progress.due is not None
        if kit.clock.now() - due.at >= READ_AGAIN * MOST_READINGS:
            await uow.count("ballots closed without reading the platform")
            return False
        await uow.set_due([Due("reread", due.subject, f"{due.kind}/{due.occurrence}", kit.clock.now() + READ_AGAIN)])
        return True


async def _reread(kit: Kit, due: Due) -> None:
    kind, step = due.occurrence.split("/", 1)
    await _closing(kit, Due(kind, due.subject, step, due.at), "due" if kind == "close" else "all in")


def _unchanged(before: Round, now: Round, found: Found) -> Found:
    """Only voters whose ledger did not move while the platform was being read: their events are newer than it."""

    def marks(round_: Round, voter: MemberId) -> tuple[Mark, ...]:
        ledger: Ledger | None = round_.ledger()
        return ledger.marks.get(voter, ()) if ledger else ()

    return {v: pairs for v, pairs in found.items() if marks(before, v) == marks(now, v)}


# --- opening, reminding ---


async def _open_ballot(kit: Kit, due: Due) -> None:
    async with _turn(kit, due) as turn:
        round_ = await turn.round(due.subject)
        if round_.step is Step.BALLOT and round_.paused is None:
            for member in round_.expected():
                opening.hand_out_ballot(turn, round_, member)


async def _remind(kit: Kit, due: Due) -> None:
    async with _turn(kit, due) as turn:
        await reminders.remind(turn, due)


async def _deputy(kit: Kit, due: Due) -> None:
    async with _turn(kit, due) as turn:
        await reminders.tell_deputy(turn, due)


async def _back(kit: Kit, due: Due) -> None:
    tenant, _, person = due.subject.partition("/")
    async with _turn(kit, due) as turn:
        await personal.come_back(turn, tenant, person)


# --- numbers ---


async def _reading(kit: Kit, round_id: str) -> Round | None:
    async with kit.store.begin() as uow:
        return await uow.round(round_id)


async def _propose(kit: Kit, due: Due) -> None:
    """Duplicates among the restraining forces in focus, computed in the worker, offered to the facilitator."""
    round_ = await _reading(kit, due.subject)
    if round_ is None or round_.step is not Step.MERGE:
        return
    notes = round_.restraining_in_focus()
    pairs = await kit.numbers.compute(explaining.proposals, [n.text for n in notes])
    offered = tuple(MergeProposal(notes[a].id, notes[b].id, score, why) for a, b, score, why in pairs)
    async with _turn(kit, due) as turn:
        now_round = await turn.round(due.subject)
        if now_round.step is Step.MERGE and not now_round.proposals:
            await turn.act(now_round, ProposeMerges(BOT, offered))


async def _explain_dots(kit: Kit, due: Due) -> None:
    round_ = await _reading(kit, due.subject)
    if round_ is None:
        return
    votes, options = explaining.dots_of(round_)
    args = (votes, options, round_.seed, None, 1, round_.settings.carry_on)
    sure = await kit.numbers.compute(explaining.sureness, *args)
    async with _turn(kit, due) as turn:
        turn.say(round_, "result", results.dots_result(round_, sure, int(due.occurrence)), rest=("dots",))


async def _explain_ballot(kit: Kit, due: Due) -> None:
    round_ = await _reading(kit, due.subject)
    if round_ is None:
        return
    votes, options, chief = explaining.ballot_of(round_)
    args = (votes, options, round_.seed, chief, round_.settings.weight, round_.settings.trials_at_once)
    sure = await kit.numbers.compute(explaining.sureness, *args)
    own, unused = (int(n) for n in due.occurrence.split("/"))
    async with _turn(kit, due) as turn:
        turn.say(round_, "result", results.ballot_result(round_, sure, own, unused), rest=("ballot",))


async def _explain_matrix(kit: Kit, due: Due) -> None:
    round_ = await _reading(kit, due.subject)
    if round_ is None:
        return
    judges, comparisons = (int(n) for n in due.occurrence.split("/"))
    chart = await kit.numbers.compute(explaining.placement, *explaining.placed_of(round_), judges == 1)
    async with _turn(kit, due) as turn:
        words = results.placement_result(round_, chart, judges, comparisons)
        turn.say(round_, "result", words, rest=("matrix",))


async def _desk(kit: Kit, due: Due) -> None:
    """The commitment's card: posted once below the results, then brought up to date in place."""
    async with _turn(kit, due) as turn:
        round_ = await turn.round(due.subject)
        if round_.step is not Step.COMMITMENT:
            return
        running, free_on = await trials.places(turn, round_)
        card = commitment_words.desk(round_, running, free_on)
        name = message_name(round_.id, "card", Step.COMMITMENT.value)
        if await turn.uow.knows_message(name):
            turn.revise(name, turn.channel(round_), card, round_.id)
        else:
            turn.say(round_, "card", card, rest=(Step.COMMITMENT.value,))


HANDLERS: dict[str, Handler] = {
    "close": _close,
    "settle": _settle,
    "reread": _reread,
    "open": _open_ballot,
    "remind": _remind,
    "deputy": _deputy,
    "back": _back,
    "propose": _propose,
    "explain dots": _explain_dots,
    "explain ballot": _explain_ballot,
    "explain matrix": _explain_matrix,
    "desk": _desk,
    **retention.DUE,
    **trials.DUE,
}
