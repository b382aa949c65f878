"""Back from leave, new in a round, and the beginning of a second one: what people hear, in how many messages."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, RoundId, Step
from coldframe.domain.people.commands import Join, SetAway
from coldframe.domain.round import rules
from coldframe.domain.round.moves import Start
from coldframe.domain.trial.state import Closing
from coldframe.engine.core.turn import Turn
from coldframe.message.saying import said
from coldframe.ports.chat import Person
from coldframe.speech.register import story_words
from coldframe.speech.register.story_words import Story
from coldframe.speech.round import late_words
from tests.domain.play import EVERYBODY, F, Play, a_round
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach
from tests.engine.seeing_through import CHANNEL, Team, a_team, words
from tests.speech.trials import a_trial

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON, OTHER, NEW = MemberId("jon"), MemberId("ines"), MemberId("zoe")


async def _gone(team: Running, until: str) -> list[str]:
    """Jon goes away; gives what he has been told by then."""
    await team.command(JON, f"away until {until}", channel=False)
    return _said(team)


def _said(team: Running) -> list[str]:
    """What Jon was told, without the line that stands for what was deleted: it takes away, and tells nothing."""
    return [w for w in team.told(JON) if not w.startswith("I've deleted what we wrote here")]


async def test_while_away_nothing_comes_and_back_one_message_tells_it_all(tmp_path: Path) -> None:
    """No sheet, nudge or word through focus, merge and dots; then what happened, what was decided without them, what is
    open, in one message, and the running step's sheet below it. It comes when they work again, not at midnight."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        before = await _gone(team, "2026-03-04")
        await reach(team, Step.PRECEDENTS)
        await team.until(datetime(2026, 3, 4, 8, tzinfo=UTC))
        assert _said(team) == before
        await team.until(datetime(2026, 3, 4, 9, 1, tzinfo=UTC))
        back, *sheet = _said(team)[len(before) :]
        assert back.startswith("While you were away")
        happened, decided = back.split("What was decided without you")
        assert "What holds us back most" in happened and "picked retention" not in happened.lower()
        assert "to work on" in decided and "How might we greet new teams?" in decided
        assert "One thing is open for you" in back
        assert len(sheet) == 1 and "dealt with the question in the channel" in sheet[0]


async def test_in_one_sitting_whoever_is_away_gets_nothing_either(tmp_path: Path) -> None:
    """What goes at once to all others waits for nobody's hours; to somebody away it does not go."""
    async with running(tmp_path, MONDAY, pace="live") as team:
        await _gone(team, "2026-03-05")
        before = set(team.standing(JON).values())
        await reach(team, Step.DOTS)

        async def news(turn: Turn) -> None:
            for person in (JON, OTHER):
                turn.answer("room", person, said("The bell has rung."))

        await team.house.engine.act("news", news)
        await team.settle()
        assert not [w for w in _said(team) if "bell" in w or "2 dots" in w or "3 dots" in w]
        assert len(_said(team)) <= len(before)
        await team.until(datetime(2026, 3, 5, 12, tzinfo=UTC))
        assert not [w for w in team.told(JON) if "The bell has rung." in w]
        assert [w for w in team.told(JON) if w.startswith("While you were away")]


async def test_back_earlier_it_comes_at_once_and_only_once(tmp_path: Path) -> None:
    """By “away off” one is back; another date of return while away does not forget since when."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _gone(team, "2026-03-20")
        await reach(team, Step.MERGE)
        before = await _gone(team, "2026-03-12")
        await team.command(JON, "away off", channel=False)
        (back,) = _said(team)[len(before) :]
        assert "to work on" in back and "Nothing waits for you." in back
        await team.command(JON, "away off", channel=False)
        await team.until(datetime(2026, 3, 20, 10, tzinfo=UTC))
        assert len([w for w in team.told(JON) if w.startswith("While you were away")]) == 1


async def test_who_missed_nothing_hears_so(tmp_path: Path) -> None:
    """The same step still runs: nothing happened, and what is open is said."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await _gone(team, "2026-03-20")
        await team.command(JON, "away off", channel=False)
        assert [w for w in team.told(JON) if "Nothing happened while you were away" in w and "is open for you" in w]


async def test_who_was_counted_as_away_by_others_is_back_by_their_own_word(tmp_path: Path) -> None:
    """They are waited for again; nobody knows since when they were away, so nothing is said of that time."""
    async with at_step(tmp_path, MONDAY, Step.DOTS) as team:
        await team.act("counted", SetAway(F, JON, True))
        assert JON not in rules.expected(await team.current())
        await team.command(JON, "away off", channel=False)
        assert JON in rules.expected(await team.current())
        (back,) = [w for w in team.told(JON) if w.startswith("While you were away")]
        assert "One thing is open for you" in back and "Nothing happened" not in back


async def test_who_is_new_gets_the_story_so_far(tmp_path: Path) -> None:
    """Joining in the middle: the question, what each step brought, and from when they are asked."""
    async with at_step(tmp_path, MONDAY, Step.QUESTIONS) as team:
        team.house.room.add_person(Person(NEW, "Zoe"), CHANNEL)
        await team.act("new", Join(BOT, NEW, "Zoe"))
        (word,) = [w for w in team.told(NEW) if "Welcome to" in w]
        assert "6 notes by 6 people" in word and "to work on" in word and "What holds us back most" in word


@pytest.mark.parametrize("earlier", [False, True])
async def test_what_waited_comes_behind_the_word_about_the_absence(tmp_path: Path, earlier: bool) -> None:
    """Asked of somebody who is away: first they read what was meanwhile, on the day that was set and by “away off”."""
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        await _gone(team, "2026-03-04")

        async def asks(turn: Turn) -> None:
            turn.answer("room", JON, said("Would you own it?"), ask=True)

        await team.house.engine.act("asks", asks)
        await team.settle()
        assert not [w for w in team.told(JON) if "own it" in w]
        if earlier:
            await team.command(JON, "away off", channel=False)
        back = team.clock.now() if earlier else datetime(2026, 3, 4, 9, tzinfo=UTC)
        await team.until(back + timedelta(minutes=2))
        order = [w.splitlines()[0] for w in team.told(JON)]
        assert order.index("While you were away") < order.index("Would you own it?")


async def _second(team: Team, people: int = 4) -> None:
    """Another round of the same team begins."""
    round_ = replace(a_round(people), id=RoundId("r2"), tenant="room", channel=CHANNEL, name="Summer")
    async with team.house.store.begin() as uow:
        await uow.add_round(round_, team.clock.now())

    async def work(turn: Turn) -> None:
        await turn.act(await turn.round("r2"), Start(F))

    await team.house.engine.act("second", work)
    await team.settle()


async def test_a_first_round_has_nothing_to_read_back(tmp_path: Path) -> None:
    """Nothing was before it."""
    async with at_step(tmp_path, MONDAY, Step.NOTES) as team:
        assert not [w for w in team.channel() if "what became of" in w]


async def test_the_second_round_begins_with_a_read_back(tmp_path: Path) -> None:
    """All read what was tried, what came out, what nothing was done about, before the card of the notes."""
    async with a_team(tmp_path) as team:
        await _second(team)
        said = next(w for w in team.channel() if "what became of" in w)
        assert team.round.name in said and "What we tried, and what came out" in said
        assert "Title of p0: under way" in said and "What nothing was done about" in said
        assert team.channel().index(said) < next(
            i for i, w in enumerate(team.channel()) if w.startswith("Summer: Notes")
        )


async def test_who_is_new_in_the_second_round_reads_in_private_what_became_of_the_first(tmp_path: Path) -> None:
    """With its start, before their sheet; whoever was in it reads the channel's alone."""
    async with a_team(tmp_path) as team:
        new = EVERYBODY[len(team.round.active())]
        team.house.room.add_person(Person(new, "Zoe"), CHANNEL)
        before = {m: len(team.told(m)) for m in team.round.active()}
        await _second(team, len(team.round.active()) + 1)
        (word,) = [w for w in team.told(new) if "what became of it" in w]
        assert team.round.name in word and "Title of p0: under way" in word
        (sheet,) = [w for w in team.told(new) if w.startswith("Summer: Notes")]
        assert team.told(new).index(word) < team.told(new).index(sheet)
        for member, known in before.items():
            assert not [w for w in team.told(member)[known:] if "what became of it" in w]


async def test_who_joins_the_second_round_gets_the_story_of_the_first(tmp_path: Path) -> None:
    """With what the running one has brought, in one message."""
    async with a_team(tmp_path) as team:
        await _second(team)
        team.house.room.add_person(Person(NEW, "Zoe"), CHANNEL)

        async def work(turn: Turn) -> None:
            await turn.act(await turn.round("r2"), Join(BOT, NEW, "Zoe"))

        await team.house.engine.act("new", work)
        await team.settle()
        (word,) = [w for w in team.told(NEW) if "Welcome to" in w]
        assert "The round before this one" in word and "Title of p0: under way" in word


def test_the_story_takes_two_minutes_at_most() -> None:
    """Of the longest texts that people may write, told to somebody who joins at the very end of a round."""
    round_ = Play().to(Step.COMMITMENT).round
    long = "people leave before the second bill comes " * 40
    notes = {i: replace(n, text=long) for i, n in round_.notes.items()}
    plans = {i: replace(p, title=long[:80]) for i, p in round_.plans.items()}
    questions = tuple(replace(q, text=long[:300]) for q in round_.questions)
    longest = replace(round_, notes=notes, plans=plans, questions=questions, focus_reason=long[:500])
    closing = Closing("not met", long, "change", long, long, F, MONDAY)
    trial = replace(a_trial(), title=long[:80], closing=closing)
    last = story_words.last_round(Story(long[:60], long[:300], [trial] * 2, [long] * 10))
    # silent reading of English, M. Brysbaert 2019, doi.org/10.1016/j.jml.2019.104047: 238 words a minute
    assert len(words(late_words.welcome(longest, last)).split()) <= 2 * 238
