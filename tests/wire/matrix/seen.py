"""The bot's messages as the demo's people read them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from coldframe.message.nodes import Block, Facts, Message, Paragraph, Words
from coldframe.ports.chat import Place


@dataclass(frozen=True)
class Seen:
    """One message of the bot as somebody reads it, the numbers with what they mean."""

    id: str
    place: Place
    message: Message
    at: datetime
    gone: bool = False
    text: str = ""


class Done:
    """Which jobs are done; the hands give no keys away."""

    def __init__(self) -> None:
        self.keys: set[str | None] = set()

    def is_done(self, key: str) -> bool:
        return key in self.keys


def lines_of(body: str) -> tuple[Block, ...]:
    """Line by line; what stands behind a colon is a fact."""
    rows = [line.partition(": ") for line in body.split("\n") if ": " in line]
    facts = Facts(tuple((label, (Words(value),)) for label, _, value in rows))
    return (*(Paragraph((Words(line),)) for line in body.split("\n")), facts)
