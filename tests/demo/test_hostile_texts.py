"""Texts that are empty, huge, invisible or in disguise: kept as they are or refused in words, and shown harmlessly."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest

from coldframe.chat.room.records import Refused
from coldframe.clock import SeededIds
from coldframe.domain.names import Step
from coldframe.domain.round.notes import NOTE_LENGTH
from coldframe.message.nodes import Message
from coldframe.players.hand import Hand, Screen, words_of
from coldframe.players.scenario import Note
from coldframe.render.room import message_json, message_text
from coldframe.render.slack.blocks import message_parts
from coldframe.wiring import for_tests
from demo.play import Play, clock_of
from demo.transcript import Transcript
from tests.demo.runs import Blank, play, scenario

KEPT = {
    "emoji alone": "🌱👩\u200d🌾",
    "right to left": "مرحبا بالجوقة",
    "an override of the direction": "first \u202etsal",
    "an invisible space": "in\u200bvite",
    "imitated mentions": "<@U123> <!channel> <!everyone> @channel @here @room <#C1|growth>",
    "a link in disguise": "<https://bad.example|https://good.example> [good](javascript:alert(1))",
    "HTML": "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "markup": "# Title **bold** *bold* _it_ ~no~ `code` > quote",
    "a fence": "``` ~~~ $$",
    "a table's cell": "a | b | </td>",
    "a formula": "=HYPERLINK(1)",
    "not composed": "e\u0301tude",
    "the bot's own head": "**Mon 1 Jun 09:00 (Europe/London), in #growth, coldframe:**",
    "placeholders": "{w} {0} %s ${x} {{ x }}",
}
REFUSED = {
    "nothing": "",
    "blanks": " \t ",
    "zero-width characters alone": "\u200b\u2060\ufeff",
    "NUL": "a\0b",
    "terminal commands": "a\x1b[31mred\x1b]0;title\a",
    "a pile of accents": "e" + "\u0301" * 20,
    "too long by one": "x" * (NOTE_LENGTH + 1),
    "almost 40,000 characters": "x" * 39_900,
    "40,000 characters": "x" * 40_000,
    "half a character": "a\ud800b",
}
Way = Callable[[Hand, str], Coroutine[Any, Any, object]]


async def by_message(hand: Hand, text: str) -> object:
    return await hand.say(f"- retention: {text}")


async def in_thread(hand: Hand, text: str) -> object:
    sheet = next(r for r in hand.seen() if "what drives us?" in words_of(r))
    return await hand.say(f"- retention: {text}", thread=sheet.id)


async def by_form(hand: Hand, text: str) -> object:
    return (await hand.fill("note.write", {"side": "restraining", "text": text}, "|retention")).errors.get("text", "")


@pytest.mark.parametrize("way", [by_message, in_thread, by_form])
async def test_a_text_is_kept_as_it_is_or_refused_with_the_reason(way: Way, tmp_path: Path) -> None:
    """By message, in a thread and by form alike: nothing is altered, nothing is dropped without a word."""
    chosen = scenario("three-people")
    clock = clock_of(chosen)
    async with for_tests(clock, tmp_path, SeededIds(1), draughtsman=Blank()) as house:
        playing = Play(chosen, house, clock)
        await playing.set_up()
        hand = Hand(house.room, "asa", Screen(house.room))
        while not any(r.place.kind == "direct" for r in hand.seen()):  # until their day begins
            due = await house.engine.next_moment()
            assert due is not None
            clock.set(due)
            await house.engine.settle()

        async def notes() -> set[str]:
            round_ = await playing.round()
            assert round_ is not None
            return {n.text for n in round_.notes.values()}

        async def attempt(text: str) -> str:
            """Tries, and returns what the person was told about it."""
            before = {r.id for r in hand.seen()}
            try:
                answer = await way(hand, text)
            except Refused as refused:
                return str(refused)
            await house.engine.settle()
            told = [words_of(r) for r in hand.seen() if r.by_bot and r.id not in before]
            return "\n".join(told) or (str(answer) if way is by_form else "")

        for case, text in KEPT.items():
            before = await notes()
            await attempt(text)
            assert await notes() - before == {unicodedata.normalize("NFC", text)}, case
        before = await notes()
        for case, text in REFUSED.items():
            told = await attempt(text)
            assert len(told.split()) >= 4, f"{case}: no reason was given"
            assert len(told) < 400, f"{case}: the text is not echoed at length"
            assert await notes() == before, case


async def test_hostile_words_go_through_a_whole_round_and_are_shown_harmlessly(tmp_path: Path) -> None:
    """Notes, question, precedent and plans full of imitations reach the commitment; nothing in them comes alive."""
    base = scenario("three-people")
    evil = list(KEPT.values())
    notes = [*base.notes, *(Note(by="asa", lever="Retention", side="driving", text=text, way="plain") for text in evil)]
    notes[0] = notes[0].model_copy(update={"text": KEPT["imitated mentions"]})
    notes[1] = notes[1].model_copy(update={"text": KEPT["a link in disguise"]})
    plans = [p.model_copy(update={"title": KEPT["HTML"]}) for p in base.plans[:1]]
    plans += [p.model_copy(update={"title": KEPT["markup"]}) for p in base.plans[1:]]
    played = await play(base.model_copy(update={"notes": notes, "plans": plans}), tmp_path)
    assert played.round is not None and played.round.step is Step.COMMITTED
    shown = [r for r in played.records if r.by_bot and r.message is not None]
    assert any(KEPT["HTML"] in message_text(r.message) for r in shown if r.message)
    for record in shown:
        assert record.message is not None
        assert _live_in_blocks(record.message) == []
        assert _alive_in_page(message_json(record.message)) == []
    paper = Transcript(played.scenario).markdown(played.records, "A hostile round")
    for line in paper.splitlines():
        assert line.startswith(("    ", "**", "# A hostile round", "Cards are kept")) or not line
        assert not line.startswith("**") or not any(text in line for text in evil)
    assert "\u202e" not in paper and "first tsal" in paper, "a line's direction is never turned"


def _live_in_blocks(message: Message) -> list[str]:
    """Imitations that would act in the text of a chat service that reads angle brackets as commands."""
    words = "\n".join(text for part in message_parts(message) for text in (part.text, *_marked_up(list(part.blocks))))
    return [live for live in ("<!channel>", "<!everyone>", "<@U123>", "<#C1|growth>", "<https://bad") if live in words]


def _marked_up(part: Any) -> list[str]:
    """The texts of a card in which that service looks for markup; elsewhere it shows every character as it is."""
    if isinstance(part, list):
        return [text for piece in part for text in _marked_up(piece)]
    if isinstance(part, dict):
        own = [part["text"]] if part.get("type") == "mrkdwn" else []
        return own + [text for piece in part.values() for text in _marked_up(piece)]
    return []


def _alive_in_page(part: Any) -> list[str]:
    """Links of the page that lead anywhere but the web."""
    if isinstance(part, list):
        return [found for piece in part for found in _alive_in_page(piece)]
    if isinstance(part, dict):
        address = part.get("url") or part.get("href")
        own = [address] if isinstance(address, str) and not address.startswith(("https://", "http://")) else []
        return own + [found for piece in part.values() for found in _alive_in_page(piece)]
    return []
