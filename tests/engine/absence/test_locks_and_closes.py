"""What is read from the platform before a ballot is handed in and before a step closes, though nobody noticed that the
bot had been away; and what happens while it cannot be read."""

from __future__ import annotations

from collections.abc import AsyncIterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import ManualClock
from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import AcceptOverlap, Forecast, SetActions, SetNextRound
from coldframe.domain.state import Action, Ledger
from coldframe.engine.core import windows
from coldframe.engine.round import closing
from coldframe.message.emoji import DIGITS
from coldframe.message.packed import ButtonValue
from coldframe.ports.chat import Edited, Inbound, Person, Reacted, Unreachable
from tests.domain.play import FD, D, F, keep_the_rest, live_now
from tests.engine.absence.hands import MONDAY, Hands, read_by, unheard
from tests.engine.clockwork import Running, house_on
from tests.engine.reaching import at_step, in_channel

INES, JON = MemberId("ines"), MemberId("jon")
UNREAD = ("reactions", "written")


def ledger_of(round_: Any) -> Ledger:
    ledger = round_.ledger()
    assert isinstance(ledger, Ledger)
    return ledger


@pytest.fixture
async def at_dots(tmp_path: Path) -> AsyncIterator[Running]:
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        yield team


@pytest.fixture
async def at_ballot(tmp_path: Path) -> AsyncIterator[Running]:
    async with at_step(tmp_path, MONDAY, Step.BALLOT) as team:
        opens = (await team.current()).progress.opens
        assert opens is not None
        await team.until(opens)
        yield team


@pytest.fixture
async def at_notes(tmp_path: Path) -> AsyncIterator[Running]:
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        yield team


async def shown(team: Running) -> list[str]:
    round_ = await team.current()
    return sorted(round_.notes[i].text for i in round_.revealed)


# --- handing a ballot in ---


async def test_an_emoji_that_nobody_heard_of_counts_in_the_ballot_that_is_locked(at_ballot: Running) -> None:
    """Its voter added it while the bot was down, and pressed the button once it was back."""
    team, hands = at_ballot, Hands(at_ballot)
    first, second = (await team.current()).plan_order[:2]
    await hands.reacts(INES, first, "🌿")
    async with unheard(team):
        await hands.reacts(INES, first, "🌿", added=False)
        await hands.reacts(INES, second, "🌱")
        await hands.reacts(INES, second, "🌵")
    await team.press(INES, "ballot.lock")
    ledger = ledger_of(await team.current())
    assert INES in ledger.locked
    assert [m.option for m in ledger.counted(INES)] == [second, second]
    assert any("2 votes from you" in words for words in read_by(team, INES))


async def test_a_ballot_of_emoji_alone_that_nobody_heard_of_can_be_locked(at_ballot: Running) -> None:
    """For the bot it was empty until then."""
    team, hands = at_ballot, Hands(at_ballot)
    first = (await team.current()).plan_order[0]
    async with unheard(team):
        await hands.reacts(JON, first, "🌿")
    await team.press(JON, "ballot.lock")
    ledger = ledger_of(await team.current())
    assert JON in ledger.locked and [m.option for m in ledger.counted(JON)] == [first]


async def test_an_empty_ballot_is_handed_in_once_it_was_read(at_ballot: Running) -> None:
    """That it is empty is what the platform says as well."""
    await at_ballot.press(JON, "ballot.lock")
    ledger = ledger_of(await at_ballot.current())
    assert JON in ledger.locked and not ledger.counted(JON)


async def test_a_ballot_that_is_locked_already_is_not_locked_again(at_ballot: Running) -> None:
    """The second press is refused in words."""
    await at_ballot.press(JON, "ballot.lock")
    ballot, tick = await Hands(at_ballot).message("ballot", JON, "ballot"), "✅"
    await at_ballot.house.room.react_as(JON, ballot, tick)
    await at_ballot.settle()
    assert "locked" in read_by(at_ballot, JON)[-1]


async def test_a_ballot_that_cannot_be_read_waits_and_is_then_locked(at_ballot: Running) -> None:
    """The voter is told once, presses nothing again, and the ballot is what their emoji say when it can be read."""
    team, hands = at_ballot, Hands(at_ballot)
    first = (await team.current()).plan_order[0]
    await hands.reacts(JON, first, "🌿")
    async with unheard(team):
        await hands.reacts(JON, first, "🌱")
    team.house.room.faults.add("refuse", times=3, on=UNREAD)
    await team.press(JON, "ballot.lock")
    assert JON not in ledger_of(await team.current()).locked
    await team.until(team.clock.now() + timedelta(minutes=5))
    ledger = ledger_of(await team.current())
    assert JON in ledger.locked and len(ledger.counted(JON)) == 2
    assert sum("as soon as the chat service lets me read" in words for words in read_by(team, JON)) == 1


async def test_one_vote_too_many_is_said_when_it_is_found(at_ballot: Running) -> None:
    """As it is when the emoji is heard of at once."""
    team, hands = at_ballot, Hands(at_ballot)
    first = (await team.current()).plan_order[0]
    async with unheard(team):
        for emoji in "🌿🌱🌵":
            await hands.reacts(JON, first, emoji)
    await team.house.engine.returned()
    await team.settle()
    assert sum("doesn't count" in words for words in read_by(team, JON)) == 1


# --- through with it, by an emoji or a word ---


async def test_a_tick_under_the_ballot_locks_it(at_ballot: Running) -> None:
    """A voter by emoji alone needs no button; another emoji there is no vote and no lock."""
    team, hands = at_ballot, Hands(at_ballot)
    first = (await team.current()).plan_order[0]
    ballot = await hands.message("ballot", JON, "ballot")
    await hands.reacts(JON, first, "🌿")
    await team.house.room.react_as(JON, ballot, "🌱")
    await team.settle()
    assert JON not in ledger_of(await team.current()).locked
    await team.house.room.react_as(JON, ballot, "✅")
    await team.settle()
    ledger = ledger_of(await team.current())
    assert JON in ledger.locked and len(ledger.counted(JON)) == 1


async def test_somebody_elses_tick_locks_nothing(at_ballot: Running) -> None:
    """The ballot is its voter's alone, whoever can see it."""
    team, hands = at_ballot, Hands(at_ballot)
    await hands.reacts(JON, (await team.current()).plan_order[0], "🌿")
    message = await hands.message("ballot", JON, "ballot")
    tick = Inbound("k", D, team.house.room.direct(JON), team.clock.now(), Reacted(message, "✅", True))
    await team.house.engine.receive(tick)
    await team.settle()
    assert not ledger_of(await team.current()).locked


async def test_a_tick_that_nobody_heard_of_locks_what_the_emoji_say(at_ballot: Running) -> None:
    """Both are read when the bot is back."""
    team, hands = at_ballot, Hands(at_ballot)
    async with unheard(team):
        await hands.reacts(JON, (await team.current()).plan_order[0], "🌿")
        await team.house.room.react_as(JON, await hands.message("ballot", JON, "ballot"), "✅")
    await team.house.engine.returned()
    await team.settle()
    ledger = ledger_of(await team.current())
    assert JON in ledger.locked and len(ledger.counted(JON)) == 1


@pytest.mark.parametrize("channel", [True, False])
async def test_the_word_done_locks_a_ballot(at_ballot: Running, channel: bool) -> None:
    """After the command in the channel, or alone in the direct messages, and it is answered."""
    team, hands = at_ballot, Hands(at_ballot)
    await hands.reacts(JON, (await team.current()).plan_order[0], "🌿")
    if channel:
        assert (await team.command(JON, "done")).note is not None
    else:
        await team.say(JON, "Done")
        assert any("ballot is locked as it stands" in words for words in read_by(team, JON))
    assert JON in ledger_of(await team.current()).locked


async def test_a_tick_under_the_dots_is_done_and_no_more_once_it_is_taken_off(at_dots: Running) -> None:
    """Whoever pressed "not done after all" later is not made done again by the tick that still stands."""
    team, hands = at_dots, Hands(at_dots)
    ballot = await hands.message("ballot", JON, "dots")
    await team.house.room.react_as(JON, ballot, "✅")
    await team.settle()
    assert JON in (await team.current()).progress.done
    await team.press(JON, "step.undone")
    await team.house.engine.returned()
    await team.settle()
    assert JON not in (await team.current()).progress.done
    await team.say(JON, "done")
    assert JON in (await team.current()).progress.done
    await team.house.room.react_as(JON, ballot, "✅", added=False)
    await team.settle()
    assert JON not in (await team.current()).progress.done


# --- forecasts ---


@pytest.fixture
async def at_commitment(tmp_path: Path) -> AsyncIterator[Running]:
    async with at_step(tmp_path, MONDAY, Step.COMMITMENT) as team:
        await team.act("choose", ChoosePlan(F, PlanId("p0"), running_trials=0))
        yield team


async def test_a_forecast_by_emoji_that_nobody_heard_of_is_taken(at_commitment: Running) -> None:
    """And a digit that was heard does not undo what was said after it."""
    team, hands, room = at_commitment, Hands(at_commitment), at_commitment.house.room

    async def digit(person: str, emoji: str, added: bool = True) -> None:
        await room.react_as(person, await hands.message("forecast", person, "p0", "line"), emoji, added)
        await team.settle()

    async def forecasts() -> dict[str, int]:
        return dict((await team.current()).choices[PlanId("p0")].forecasts)

    await digit(D, DIGITS[4])
    await team.act("say otherwise", Forecast(D, PlanId("p0"), 70))
    await digit(FD, DIGITS[2])
    await digit(INES, DIGITS[3])
    async with unheard(team):
        await digit(JON, DIGITS[6])
        await digit(FD, DIGITS[2], added=False)
        await digit(FD, DIGITS[9])
        await digit(INES, DIGITS[3], added=False)
    await team.house.engine.returned()
    await team.settle()
    assert await forecasts() == {D: 70, FD: 90, INES: 30, JON: 60}
    await digit(INES, DIGITS[3])
    await team.act("say more", Forecast(INES, PlanId("p0"), 100))
    async with unheard(team):
        await digit(INES, DIGITS[3], added=False)
    await digit(INES, DIGITS[3])
    assert (await forecasts())[INES] == 30


# --- sealing ---


@pytest.fixture
async def to_be_sealed(at_commitment: Running) -> Running:
    """Everything is there but the seal."""
    next_round = SetNextRound(F, at_commitment.clock.now() + timedelta(weeks=9))
    await at_commitment.act("settle", *_settled(at_commitment, PlanId("p0"), INES), next_round)
    await at_commitment.act("the rest", keep_the_rest(await at_commitment.current()))
    return at_commitment


def _settled(team: Running, plan: PlanId, owner: MemberId) -> tuple[Command, ...]:
    """Its owner, who does what first, and when it is reviewed."""
    now = team.clock.now()
    action = Action("a1", "I call the first team", owner, now + timedelta(days=1))
    review = live_now(now, owner, plan, now + timedelta(weeks=4, days=1))
    yes = AnswerOwnership(owner, plan, accept=True)
    return AskOwner(F, plan, owner), yes, SetActions(owner, plan, (action,)), review


async def _forecasts(team: Running) -> dict[str, int]:
    return dict((await team.current()).choices[PlanId("p0")].forecasts)


async def _digit(team: Running, person: str, digit: int, added: bool = True) -> None:
    message = await Hands(team).message("forecast", person, "p0", "line")
    await team.house.room.react_as(person, message, DIGITS[digit], added)


async def test_forecasts_by_emoji_that_nobody_heard_of_are_in_the_seal(to_be_sealed: Running) -> None:
    """Put and taken off while the bot was down: the seal finds them as if they had been heard."""
    team = to_be_sealed
    await _digit(team, FD, 2)
    await _digit(team, INES, 3)
    async with unheard(team):
        await _digit(team, JON, 6)
        await _digit(team, FD, 2, added=False)
        await _digit(team, FD, 9)
        await _digit(team, INES, 3, added=False)
        await _digit(team, D, 1)
        await _digit(team, D, 1, added=False)
    await team.press(D, "round.commit")
    assert (await team.current()).step is Step.COMMITTED
    assert await _forecasts(team) == {FD: 90, INES: 30, JON: 60}


async def test_a_seal_that_lacks_something_is_refused_at_once(at_commitment: Running) -> None:
    """Nothing is read for it, and nothing waits."""
    team = at_commitment
    team.house.room.faults.add("refuse", times=10_000, on=UNREAD)
    pressed = ButtonValue("r1", made_for="commitment").pack()
    before = len(read_by(team, D))
    await team.house.room.press(D, None, "round.commit", pressed, forged=True)
    await team.settle()
    assert len(read_by(team, D)) == before + 1, "the refusal"
    assert (await team.current()).step is Step.COMMITMENT
    assert not await team.dues(closing.WAITS)
    assert not any("stays open" in words for words in in_channel(team))


async def test_a_seal_waits_while_the_forecasts_cannot_be_read(to_be_sealed: Running) -> None:
    """It is said once, tried again, and what stands by then counts."""
    team = to_be_sealed
    async with unheard(team):
        await _digit(team, JON, 6)
    team.house.room.faults.add("refuse", times=10_000, on=UNREAD)
    await team.press(D, "round.commit")
    await team.until(team.clock.now() + timedelta(minutes=20))
    assert (await team.current()).step is Step.COMMITMENT
    assert sum("the emoji forecasts" in words for words in in_channel(team)) == 1
    assert sum("coldframe doctor" in words for words in read_by(team, F)) == 1
    team.house.room.faults.clear()
    await team.until(team.clock.now() + timedelta(minutes=30))
    assert (await team.current()).step is Step.COMMITTED
    assert await _forecasts(team) == {JON: 60}
    assert not any("couldn't be read" in words for words in in_channel(team))


async def test_the_facilitator_seals_without_the_forecasts(to_be_sealed: Running) -> None:
    """By the button that is offered, and the channel hears what that means."""
    team = to_be_sealed
    team.house.room.faults.add("refuse", times=10_000, on=UNREAD)
    await team.press(D, "round.commit")
    await team.press(F, "close.unread")
    assert (await team.current()).step is Step.COMMITTED
    assert sum("sealed although the emoji of" in words for words in in_channel(team)) == 1


async def test_a_question_that_stands_nowhere_any_more_holds_no_seal_up(to_be_sealed: Running) -> None:
    """The same person was asked about a second plan, and that question can be read."""
    team, second = to_be_sealed, PlanId("p1")
    settled = _settled(team, second, FD)
    await team.act("both", ChoosePlan(F, second, running_trials=0), *settled, AcceptOverlap(F))
    team.house.room.log.erase(await Hands(team).message("forecast", JON, "p0", "line"))
    await team.press(D, "round.commit")
    assert (await team.current()).step is Step.COMMITTED


# --- closing ---


async def test_notes_that_were_changed_unheard_are_revealed_as_they_stand(at_notes: Running) -> None:
    """One deleted, one corrected, one written: the reveal shows what stands in the direct messages."""
    team, hands = at_notes, Hands(at_notes)
    gone = await hands.writes(D, "- retention: told in anger")
    wrong = await hands.writes(FD, "- retention: the bil is late")
    await hands.writes(F, "- retention: slow pages")
    async with unheard(team):
        await hands.erases(D, gone)
        await hands.edits(FD, wrong, "- retention: the bill is late")
        await hands.writes(INES, "- retention: too many mails")
    await team.command(F, "close")
    await team.command(F, "announce")
    assert (await team.current()).step is Step.FOCUS
    assert await shown(team) == ["slow pages", "the bill is late", "too many mails"]


async def test_what_the_form_changed_is_not_undone_by_the_message_it_came_from(at_notes: Running) -> None:
    """The message stands as it was first written; only a change of it would count."""
    team, hands = at_notes, Hands(at_notes)
    for person in (D, FD, INES):
        await hands.writes(person, f"- retention: by {person}")
    await team.settle()
    note = next(n for n in (await team.current()).notes.values() if n.author == D)
    await team.fill(D, "note.edit", {"text": "in better words"}, ButtonValue("r1", (note.id,), "notes").pack())
    withdrawn = next(n for n in (await team.current()).notes.values() if n.author == FD)
    await team.press(FD, "note.withdraw", ButtonValue("r1", (withdrawn.id,), "notes").pack())
    await hands.writes(FD, "- retention: another")
    await team.house.engine.returned()
    await team.settle()
    await team.command(F, "close")
    await team.command(F, "announce")
    assert await shown(team) == ["another", "by ines", "in better words"]


async def test_a_line_that_came_in_after_the_reading_began_is_not_overwritten_by_it(
    at_notes: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reading shows how it was a moment ago; whose message changed meanwhile keeps the newer words."""
    team, hands = at_notes, Hands(at_notes)
    mine = await hands.writes(D, "- retention: first")
    for person in (FD, INES):
        await hands.writes(person, f"- retention: by {person}")
    async with unheard(team):
        await hands.edits(D, mine, "- retention: second")
    read: Any = team.house.room.written

    async def written(place: Any, *more: Any) -> Any:
        found = await read(place, *more)
        if place.id == D:
            await hands.edits(D, mine, "- retention: third")
        return found

    monkeypatch.setattr(team.house.room, "written", written)
    await team.house.engine.returned()
    await team.settle()
    assert [n.text for n in (await team.current()).notes.values() if n.author == D] == ["third"]


async def test_a_change_that_is_told_after_a_newer_one_does_not_last(at_notes: Running) -> None:
    """Platforms keep no order; what stands in the conversation at the close is what counts."""
    team, hands = at_notes, Hands(at_notes)
    mine = await hands.writes(D, "- retention: first")
    for person in (FD, INES):
        await hands.writes(person, f"- retention: by {person}")
    async with unheard(team):
        await hands.edits(D, mine, "- retention: second")
        await hands.edits(D, mine, "- retention: third")
    await team.house.engine.returned()
    await team.settle()
    late = Edited(mine, "- retention: second", "1")
    await team.house.engine.receive(Inbound("late", D, team.house.room.direct(D), team.clock.now(), late))
    await team.command(F, "close")
    await team.command(F, "announce")
    assert await shown(team) == ["by fred", "by ines", "third"]


# --- while the platform cannot be read ---


async def _nine_dots(team: Running) -> None:
    hands = Hands(team)
    first, second = (str(f.id) for f in (await team.current()).forces[:2])
    for person in (F, D, FD):
        await hands.reacts(person, first, "🌿")
    async with unheard(team):
        for person in (F, D, FD):
            for emoji in "🌱🌵":
                await hands.reacts(person, second, emoji)


async def _counted(team: Running) -> int:
    return sum(s.group + s.decision_maker for s in (await team.current()).forces_standing)


async def test_a_ballot_that_cannot_be_read_stays_open_until_it_can(at_dots: Running) -> None:
    """An hour's trouble at the close: it says so once, in the channel and to the facilitator, and all nine count."""
    team = at_dots
    await _nine_dots(team)
    team.house.room.faults.add("refuse", times=10_000, on=UNREAD)
    await team.command(F, "close")
    await team.command(F, "announce")
    await team.until(team.clock.now() + timedelta(hours=1))
    assert (await team.current()).step is Step.DOTS
    assert sum("stays open" in words for words in in_channel(team)) == 1
    assert sum("coldframe doctor" in words for words in read_by(team, F)) == 1
    assert not any("stays open" in words for words in read_by(team, D))
    team.house.room.faults.clear()
    await team.until(team.clock.now() + timedelta(minutes=30))
    assert (await team.current()).step is Step.QUESTIONS
    assert await _counted(team) == 9
    assert not any("couldn't be read" in words for words in in_channel(team))


async def test_after_a_working_day_it_closes_and_says_how_many_ballots_were_not_read(at_dots: Running) -> None:
    """Never counted short without a word, and never open for ever."""
    team = at_dots
    await _nine_dots(team)
    round_ = await team.current()
    async with team.house.store.begin() as uow:
        until = await windows.working_day(uow, team.clock.now(), round_)
    assert until - team.clock.now() == timedelta(hours=8)
    team.house.room.faults.add("refuse", times=100_000, on=UNREAD)
    await team.command(F, "close")
    await team.command(F, "announce")
    await team.until(until - timedelta(seconds=1))
    assert (await team.current()).step is Step.DOTS
    await team.until(until)
    assert (await team.current()).step is Step.QUESTIONS
    assert await _counted(team) == 3
    assert sum("the emoji of 6 ballots couldn't be read" in words for words in in_channel(team)) == 1


async def test_the_facilitator_need_not_wait_for_it(at_dots: Running) -> None:
    """The button tries once more, closes all the same, and the channel hears what that means."""
    team = at_dots
    await _nine_dots(team)
    team.house.room.faults.add("refuse", times=100_000, on=UNREAD)
    await team.command(F, "close")
    await team.command(F, "announce")
    await team.press(F, "close.unread")
    assert (await team.current()).step is Step.QUESTIONS
    assert any("couldn't be read" in words for words in in_channel(team))


async def test_nobody_else_closes_a_step_unread(at_dots: Running) -> None:
    """The button's value, pressed by somebody who has it from nowhere, is refused."""
    team = at_dots
    await _nine_dots(team)
    team.house.room.faults.add("refuse", times=100_000, on=UNREAD)
    await team.command(F, "close")
    await team.command(F, "announce")
    await team.house.room.press(D, None, "close.unread", ButtonValue("r1", made_for="dots").pack(), forged=True)
    await team.settle()
    assert (await team.current()).step is Step.DOTS


async def test_notes_that_cannot_be_compared_are_not_revealed_yet(at_notes: Running) -> None:
    """What somebody deleted meanwhile may not be shown only because the service was away at the close."""
    team, hands = at_notes, Hands(at_notes)
    gone = await hands.writes(D, "- retention: told in anger")
    for person in (F, FD, INES):
        await hands.writes(person, f"- retention: by {person}")
    async with unheard(team):
        await hands.erases(D, gone)
    team.house.room.faults.add("refuse", times=10_000, on=UNREAD)
    await team.command(F, "close")
    await team.command(F, "announce")
    assert (await team.current()).step is Step.NOTES
    team.house.room.faults.clear()
    await team.until(team.clock.now() + timedelta(minutes=5))
    assert "told in anger" not in await shown(team)
    assert (await team.current()).step is Step.FOCUS


async def test_what_is_slow_is_waited_for(at_dots: Running) -> None:
    """That the platform asks for a pause makes no ballot unread."""
    team = at_dots
    await _nine_dots(team)
    team.house.room.faults.add("slow", times=20, on=UNREAD)
    await team.command(F, "close")
    await team.command(F, "announce")
    assert (await team.current()).step is Step.QUESTIONS
    assert await _counted(team) == 9


@pytest.mark.parametrize("gone", [True, False])
async def test_only_whose_account_is_gone_is_not_waited_for(
    at_dots: Running, gone: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who left can have done nothing since; whoever is there and cannot be read holds the close up."""
    team = at_dots
    await _nine_dots(team)
    team.house.room.log.put_person(Person(JON, "Jon", is_gone=gone))
    read: Any = team.house.room.reactions

    async def reactions(place: Any, message: str) -> Any:
        if place.id == JON:
            raise Unreachable("no such conversation")
        return await read(place, message)

    monkeypatch.setattr(team.house.room, "reactions", reactions)
    await team.command(F, "close")
    await team.command(F, "announce")
    assert ((await team.current()).step is Step.QUESTIONS) is gone


async def test_an_option_that_stands_nowhere_any_more_keeps_its_votes(at_dots: Running) -> None:
    """What cannot be seen is not taken for taken back, and holds nothing up."""
    team, hands = at_dots, Hands(at_dots)
    await _nine_dots(team)
    await team.settle()
    first = str((await team.current()).forces[0].id)
    team.house.room.log.erase(await hands.option(F, first))
    await team.command(F, "close")
    await team.command(F, "announce")
    assert (await team.current()).step is Step.QUESTIONS
    assert await _counted(team) == 9


async def test_one_who_cannot_be_read_holds_up_nobody_at_a_return(at_dots: Running) -> None:
    """The others' votes are there at once; theirs come with the next try."""
    team = at_dots
    await _nine_dots(team)
    team.house.room.faults.add("refuse", times=1, on=UNREAD)
    await team.house.engine.returned()
    await team.settle()
    ledger = ledger_of(await team.current())
    assert sorted(len(ledger.counted(p)) for p in (F, D, FD)) in ([1, 3, 3], [3, 3, 3])
    await team.until(team.clock.now() + timedelta(minutes=1))
    ledger = ledger_of(await team.current())
    assert [len(ledger.counted(p)) for p in (F, D, FD)] == [3, 3, 3]


async def test_a_note_taken_from_the_channel_stays_when_its_message_there_is_deleted(at_notes: Running) -> None:
    """Its writer was asked to delete it: what stands in no direct messages is not compared with them."""
    team, hands, room = at_notes, Hands(at_notes), at_notes.house.room
    for person in (F, FD, INES):
        await hands.writes(person, f"- retention: by {person}")
    await room.say(D, room.channel(team.round.channel), "- retention: the bill is late")
    await team.settle()
    await team.press(D, "text.private")
    await team.house.engine.returned()
    await team.settle()
    await team.command(F, "close")
    await team.command(F, "announce")
    assert "the bill is late" in await shown(team)


async def test_what_the_room_kept_and_the_bot_did_not_is_in_the_reveal(tmp_path: Path) -> None:
    """The process died between the two: at the next start the deadline is past, and the line comes before the close;
    handed over again later, it is no second note."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        hands = Hands(team)
        for person in (F, D, FD, INES):
            await hands.writes(person, f"- retention: by {person}")
        await team.settle()
        due = (await team.current()).progress.due
        assert due is not None

        class Dying:
            async def receive(self, event: Inbound) -> Any:
                raise RuntimeError

        team.house.room.intake = Dying()
        await hands.writes(JON, "- retention: in the last moment")
    clock = ManualClock(due)
    async with house_on(clock, tmp_path) as house:
        again = Running(house, clock, team.round)
        await house.engine.returned()
        await again.settle()
        assert (await again.current()).step is Step.FOCUS
        assert (await shown(again)).count("in the last moment") == 1
        assert await house.room.redeliver() == 1
        await again.settle()
        assert not (await again.current()).late_notes
