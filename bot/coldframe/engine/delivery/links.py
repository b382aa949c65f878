"""Where a message speaks of another of the bot's own, the way there, as it is when the message goes out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from coldframe.engine.core.turn import Kit
from coldframe.message.nodes import (
    Block,
    Facts,
    Grid,
    Heading,
    Inline,
    Items,
    Line,
    Link,
    Message,
    Paragraph,
    Small,
    To,
)
from coldframe.ports.chat import ChatError
from coldframe.ports.storage import Send

Change = Callable[[Line], Line]


async def with_links(kit: Kit, send: Send) -> Send:
    """Its message as it goes out."""
    if send.message is None or not (names := {part.name for part in _ways(send.message)}):
        return send
    found = await _addresses(kit, names) if kit.chat.capabilities.links else {}
    return replace(send, message=_changed(send.message, lambda parts: tuple(_shown(part, found) for part in parts)))


def _shown(part: Inline, found: Mapping[str, str]) -> Inline:
    if not isinstance(part, To):
        return part
    return Link(found[part.name], part.label) if part.name in found else part.words()


async def _addresses(kit: Kit, names: set[str]) -> dict[str, str]:
    """Nobody waits for a link: without it the words say the same."""
    async with kit.store.begin() as uow:
        posted = [found for name in sorted(names) if (found := await uow.posted(name)) is not None and found.message_id]
    addresses = {}
    for each in posted:
        try:
            address = await kit.chat.link(each.place, each.message_id)
        except ChatError:
            continue
        if address is not None:
            addresses[each.name] = address
    return addresses


def _ways(message: Message) -> Iterator[To]:
    for parts in (message.summary, *(parts for block in message.blocks for parts in _lines(block))):
        yield from (part for part in parts if isinstance(part, To))


def _lines(block: Block) -> Iterator[Line]:
    match block:
        case Heading() | Paragraph() | Small():
            yield block.line
        case Items():
            yield from block.lines
        case Facts():
            yield from (value for _, value in block.rows)
        case Grid():
            yield from (cell for row in block.rows for cell in row)
        case _:
            return


def _changed(message: Message, change: Change) -> Message:
    blocks = tuple(_block(block, change) for block in message.blocks)
    return replace(message, summary=change(message.summary), blocks=blocks)


def _block(block: Block, change: Change) -> Block:
    match block:
        case Heading() | Paragraph() | Small():
            return replace(block, line=change(block.line))
        case Items():
            return replace(block, lines=tuple(map(change, block.lines)))
        case Facts():
            return replace(block, rows=tuple((label, change(value)) for label, value in block.rows))
        case Grid():
            return replace(block, rows=tuple(tuple(map(change, row)) for row in block.rows))
        case _:
            return block
