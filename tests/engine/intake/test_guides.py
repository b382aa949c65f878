"""How it works, told by the bot itself: a page for each person, by words and by buttons."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Inbound, Pressed
from coldframe.speech.person_guides import PERSONS
from tests.engine.clockwork import running
from tests.engine.reaching import told
from tests.engine.seeing_through import words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


async def test_the_word_offers_a_page_for_each_person(tmp_path: Path) -> None:
    """And each button shows its page in the place of the list."""
    async with running(tmp_path, MONDAY) as team:
        await team.command(JON, "guide", channel=False)
        assert told(team, JON)[-1] == "How it works, for you: a page that takes two minutes."
        for person, page in PERSONS.items():
            await team.command(JON, "guide", channel=False)
            await team.press(JON, "guide.person", ButtonValue(person).pack())
            assert told(team, JON)[-1] == page.title


@pytest.mark.parametrize("typed", ["guide owner", "guide for the owner", "guide Owner"])
async def test_a_person_may_be_named(tmp_path: Path, typed: str) -> None:
    async with running(tmp_path, MONDAY) as team:
        await team.command(JON, typed, channel=False)
        assert told(team, JON)[-1] == "For the owner of a trial"


async def test_somebody_who_has_no_page_gets_the_list(tmp_path: Path) -> None:
    """In the channel as a passing note, which nobody else sees."""
    async with running(tmp_path, MONDAY) as team:
        reply = await team.command(JON, "guide gardener")
        assert reply.note is not None and "a page that takes two minutes" in words(reply.note)


async def test_a_made_up_page_is_refused(tmp_path: Path) -> None:
    async with running(tmp_path, MONDAY) as team:
        await team.command(JON, "guide", channel=False)
        place, made_up = team.house.room.direct(JON), Pressed("guide.person", ButtonValue("gardener").pack(), None)
        await team.house.engine.receive(Inbound("k1", JON, place, team.clock.now(), made_up))
        await team.settle()
        assert told(team, JON)[-1] == "That is no longer there. Nothing was changed."


async def test_help_and_the_persons_own_page_lead_there(tmp_path: Path) -> None:
    async with running(tmp_path, MONDAY) as team:
        await team.command(JON, "mine", channel=False)
        await team.press(JON, "guide.which")
        assert told(team, JON)[-1] == "How it works, for you: a page that takes two minutes."
        for asked in ("help", ""):
            reply = await team.command(JON, asked)
            assert reply.note is not None and "/coldframe guide" in words(reply.note)
