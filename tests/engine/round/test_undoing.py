"""A picked focus, published questions and an early close can be undone for ten minutes: by button, by the command, and
by the word alone; until then nobody else hears of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.clock import ManualClock
from coldframe.domain.names import Deciding, ForceId, QuestionId, Role, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.round.moves import Pause, Resume
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.round.questions import WriteQuestion
from coldframe.domain.round.revealed_notes import HideNote
from coldframe.domain.round.undoing import Hold
from coldframe.store import tables
from tests.domain.play import DD, EVERYBODY, REASON, RETENTION, D, F, a_plan
from tests.engine.clockwork import Running, house_on, running
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import words

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
TEN = timedelta(minutes=10)
INES = EVERYBODY[4]
NOTHING = "Nothing was changed"


async def _picks(team: Running) -> None:
    await team.fill(D, "focus.pick", {"reason": REASON})


def _everything(team: Running, *but: str) -> list[str]:
    """All that the channel and everybody, except these, can read."""
    return team.channel() + [text for person in EVERYBODY[:6] if person not in but for text in team.told(person)]


async def test_a_pick_is_its_makers_alone_for_ten_minutes(tmp_path: Path) -> None:
    """They read what happens when; nobody else reads anything new, and then everybody does."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        before, now = _everything(team, D), team.clock.now()
        await _picks(team)
        assert "Retention is picked. I announce it at" in team.told(D)[-1]
        await team.until(now + TEN - timedelta(seconds=1))
        assert _everything(team, D) == before
        assert (await team.current()).step is Step.FOCUS
        await team.until(now + TEN)
        assert (await team.current()).step is Step.MERGE
        assert any("Retention" in text for text in team.channel() if text not in before)
        assert "is picked. I announce" not in "".join(team.told(D))


@pytest.mark.parametrize("way", ["button", "word in the channel", "word alone"])
async def test_undone_nothing_is_announced(tmp_path: Path, way: str) -> None:
    """Whichever way; the card says so, and the step waits for the decision as before."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        before, now = _everything(team, D), team.clock.now()
        await _picks(team)
        if way == "button":
            await team.press(D, "held.undo")
        elif way == "word in the channel":
            assert "undone" in words_of_note(await team.command(D, "undo"))
        else:
            await team.say(D, "undo")
        assert any(text.startswith("name of r1: undone. Nothing was announced") for text in team.told(D))
        await team.until(now + 2 * TEN)
        assert (await team.current()).step is Step.FOCUS
        assert _everything(team, D) == before
        await _picks(team)
        await team.press(D, "held.now")
        assert (await team.current()).step is Step.MERGE


def words_of_note(reply: object) -> str:
    note = getattr(reply, "note", None)
    assert note is not None
    return words(note)


@pytest.mark.parametrize("channel", [True, False])
async def test_whoever_decides_need_not_wait(tmp_path: Path, channel: bool) -> None:
    """The word does what the button does, in the channel as in private."""
    async with at_step(tmp_path, MONDAY, Step.MERGE) as team:
        await team.command(F, "close", channel=channel)
        assert "hidden again" not in team.told(F)[-1]
        assert (await team.current()).step is Step.MERGE
        await team.command(F, "announce", channel=channel)
        assert (await team.current()).step is Step.DOTS


async def test_it_is_announced_though_the_bot_starts_again_meanwhile(tmp_path: Path) -> None:
    """The moment is in the database, not in the process."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        now = team.clock.now()
    clock = ManualClock(now + timedelta(minutes=3))
    async with house_on(clock, tmp_path) as house:
        again = Running(house, clock, team.round)
        await again.until(now + TEN - timedelta(seconds=1))
        assert (await again.current()).step is Step.FOCUS
        await again.until(now + TEN)
        assert (await again.current()).step is Step.MERGE


async def test_before_a_reveal_it_is_said_that_it_is_for_good(tmp_path: Path) -> None:
    """And not where nothing is revealed. Pressed in the channel, it is answered there as well."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.act("plans", *(HandInPlan(m, a_plan(f"p{i}")) for i, m in enumerate(EVERYBODY[:3])))
        reply = await team.command(F, "close")
        assert "What was shown can't be hidden again" in words_of_note(reply)
        assert "What was shown can't be hidden again" in team.told(F)[-1]
        await team.press(F, "held.now")
        assert (await team.current()).step is Step.BALLOT
        assert "There is nothing to undo" in words_of_note(await team.command(F, "undo"))


async def test_published_questions_can_be_changed_until_they_are_out(tmp_path: Path) -> None:
    """What stands when the ten minutes are over is published; nothing of it before."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        round_ = await team.current()
        force = ForceId(next(s.option for s in round_.forces_standing if s.carried))
        await team.act("write", WriteQuestion(F, QuestionId("q1"), force, "How might we bil clearly?"))
        now = team.clock.now()
        await team.press(F, "step.close")
        assert "your questions are published at" in team.told(F)[-1]
        await team.act("better", WriteQuestion(F, QuestionId("q1"), force, "How might we bill clearly?"))
        assert not any("How might we bil" in text for text in team.channel())
        await team.until(now + TEN)
        assert (await team.current()).step is Step.PRECEDENTS
        assert [text for text in team.channel() if "How might we bill clearly?" in text]
        assert not [text for text in team.channel() if "bil clearly" in text]


async def test_nobody_else_can_undo_it_or_learns_of_it(tmp_path: Path) -> None:
    """To the facilitator, too, a picked focus does not exist yet."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        for person in (F, INES):
            for word in ("undo", "announce"):
                assert "nothing to undo" in words_of_note(await team.command(person, word))
            assert "Undo" not in words_of_note(await team.command(person, ""))
        assert (await team.current()).decided() is not None


async def test_the_panel_offers_the_way_back(tmp_path: Path) -> None:
    """Whoever has lost the card finds it there, and owes nothing meanwhile."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        assert "Open for you" in words_of_note(await team.command(D, ""))
        await _picks(team)
        assert "Open for you" not in words_of_note(await team.command(D, ""))
        await team.press(D, "held.undo")
        assert (await team.current()).decided() is None


async def test_nobody_is_reminded_of_what_they_have_decided(tmp_path: Path) -> None:
    """The decision-maker picks just before a reminder and before half time: neither they nor their deputy hear."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        (half,) = await team.dues("deputy")
        first = min(due.at for due in await team.dues("remind"))
        await team.until(min(half.at, first) - timedelta(minutes=1))
        before = (team.told(DD), team.told(D))
        await _picks(team)
        await team.until(team.clock.now() + TEN)
        assert (await team.current()).step is Step.MERGE
        assert [text for text in team.told(DD) if not text.startswith("I've deleted what we wrote here")] == before[0]
        assert not [text for text in team.told(D) if "Open for you" in text]


async def test_undone_the_reminder_comes_all_the_same(tmp_path: Path) -> None:
    """It was only put off."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        (half,) = await team.dues("deputy")
        await team.until(half.at - timedelta(minutes=1))
        before = team.told(DD)
        await _picks(team)
        await team.until(half.at + timedelta(minutes=1))
        assert team.told(DD) == before
        await team.press(D, "held.undo")
        await team.until(half.at + TEN)
        assert len(team.told(DD)) == len(before) + 1


async def test_buttons_of_a_decision_that_is_settled_do_nothing(tmp_path: Path) -> None:
    """The undone one's does not undo the next."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        message, old = team.button(D, "held.undo")
        await team.press(D, "held.undo")
        await team.until(team.clock.now() + timedelta(minutes=1))
        await _picks(team)
        before = await team.current()
        reply = await team.house.room.press(D, message, old.action, old.value, forged=True)
        assert NOTHING in words_of_note(reply)
        assert await team.current() == before


async def test_a_pick_in_place_of_another_has_one_card(tmp_path: Path) -> None:
    """The earlier card says that it does not count any more."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        await team.until(team.clock.now() + timedelta(minutes=1))
        await team.fill(D, "focus.pick", {"reason": "Another and better reason."})
        assert sum("is picked. I announce" in text for text in team.told(D)) == 1
        assert sum("you have decided anew" in text for text in team.told(D)) == 1


async def test_while_the_round_rests_it_waits(tmp_path: Path) -> None:
    """Then it has its ten minutes again."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        await team.act("rest", Pause(F))
        await team.until(team.clock.now() + timedelta(hours=2))
        assert (await team.current()).step is Step.FOCUS
        await team.act("on", Resume(F))
        now = team.clock.now()
        assert sum("is picked. I announce" in text for text in team.told(D)) == 1
        await team.until(now + TEN)
        assert (await team.current()).step is Step.MERGE


async def test_whoever_has_the_role_then_can_undo_it(tmp_path: Path) -> None:
    """They read what waits, with the buttons, and the earlier holder's card stays."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        await team.act("hand over", HandOver(D, Role.DECISION_MAKER))
        assert any("Retention is picked" in text for text in team.told(DD))
        await team.press(DD, "held.undo")
        assert (await team.current()).decided() is None
        assert not any("Retention is picked" in text for text in team.told(D) + team.told(DD))


async def test_what_cannot_be_carried_out_any_more_is_told_to_its_maker(tmp_path: Path) -> None:
    """All forces of the picked lever were hidden meanwhile."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _picks(team)
        notes = (await team.current()).revealed
        await team.act("hide", *(HideNote(F, note, "It names a person") for note in notes))
        await team.until(team.clock.now() + TEN)
        assert (await team.current()).step is Step.FOCUS
        assert "nothing that holds that lever back is left" in team.told(D)[-1]


async def test_in_one_sitting_it_is_a_minute(tmp_path: Path) -> None:
    """There steps last minutes."""
    async with running(tmp_path, MONDAY, pace="live") as team:
        await reach(team, Step.MERGE)
        now = team.clock.now()
        await team.command(F, "close")
        await team.until(now + timedelta(seconds=59))
        assert (await team.current()).step is Step.MERGE
        await team.until(now + timedelta(seconds=60))
        assert (await team.current()).step is Step.DOTS


async def test_a_decision_that_is_not_announced_stands_nowhere_readable(tmp_path: Path) -> None:
    """Neither the lever nor the reason is in what lies in the database in plain text."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        secret = "Because of the otters"
        await team.act("pick", Hold(D, Deciding.FOCUS, RETENTION, secret))
        async with team.house.store.database.looking() as db:
            for table in tables.metadata.tables.values():
                for row in await db.execute(select(table)):
                    assert not any(isinstance(value, str) and "otters" in value for value in row)
