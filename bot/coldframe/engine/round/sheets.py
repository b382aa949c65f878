"""Sheets of earlier releases, which asked for notes and votes in several messages each: at the first start the one that
asked becomes the sheet, and what it holds now is taken away elsewhere."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.names import MemberId, Step
from coldframe.domain.state import Round
from coldframe.engine.core import endings
from coldframe.engine.core.turn import Kit, Turn
from coldframe.engine.round.steps import notes, voting
from coldframe.message.packed import MessageName
from coldframe.speech.names import message_name

OCCASION = "sheets/looked after"
BECOMES: Mapping[Step, tuple[str, ...]] = {
    Step.NOTES: (notes.SHEET,),
    Step.DOTS: (voting.SHEET, voting.LINE),
    Step.BALLOT: (voting.SHEET, voting.LINE),
}
"""Messages of a step that read otherwise now. Each option of a ballot had buttons; it becomes a line for emoji."""
GOES: Mapping[Step, tuple[str, ...]] = {Step.NOTES: ("mine",)}
"""The list of one's own notes. The prompts of levers stay: people write in their threads."""


async def look_after(kit: Kit) -> None:
    """To be called at the start."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        if not await uow.first_time(OCCASION, turn.now):
            return
        kit.ids.occasion(OCCASION)
        for tenant, team in await uow.all_teams():
            for head in await uow.heads(tenant, channel=team):
                if head.step in BECOMES:
                    await _become_sheets(turn, await turn.round(head.id))
        await turn.finish()


async def _become_sheets(turn: Turn, round_: Round) -> None:
    reads = {**notes.READS, **voting.READS}
    for what in BECOMES[round_.step]:
        for name in await _of_its_step(turn, round_, what):
            turn.revise_own(round_, MemberId(name.rest[0]), what, reads[what](round_, name.rest), *name.rest[1:])
    for what in GOES.get(round_.step, ()):
        posted = await turn.uow.posted_like(message_name(round_.id, what, ""))
        await endings.end(turn, [endings.taken_back(each) for each in posted])


async def _of_its_step(turn: Turn, round_: Round, what: str) -> list[MessageName]:
    found = [MessageName.unpack(p.name) for p in await turn.uow.posted_like(message_name(round_.id, what, ""))]
    return [name for name in found if name.rest[1:2] == (round_.step.value,)]
