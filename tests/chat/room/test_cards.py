"""The room's cards in its file: what was written is shown as a later life of the room will read it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from coldframe.chat.room.rows import CARD, READINGS_KEPT, Cards
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Place
from tests.chat.room.keys import KeysAtHand, open_log
from tests.chat.room.samples import notes_card, panel

CARDS = (notes_card(), panel())
PLACE, NOW = Place("room", "channel", "growth"), datetime(2026, 3, 2, 9, tzinfo=UTC)


def test_every_card_reads_the_same_in_the_life_that_wrote_it_and_in_the_next(tmp_path: Path) -> None:
    keys = KeysAtHand()
    log = open_log(str(tmp_path / "room.db"), keys)
    for card in CARDS:
        log.put_message(PLACE, "bot", NOW, card=card)
    written = log.messages()
    log.close()
    again = open_log(str(tmp_path / "room.db"), keys)
    assert again.messages() == written
    assert [record.message for record in written] == [*CARDS]
    again.close()


def test_few_cards_are_kept_at_hand_and_the_others_are_read_again() -> None:
    cards = Cards()
    bodies = [cards.body(Message(line(f"Card {number}"))) for number in range(READINGS_KEPT + 1)]
    assert [cards.card(body) for body in bodies] == [CARD.validate_json(body) for body in bodies]
    assert len(cards._lately) == READINGS_KEPT
