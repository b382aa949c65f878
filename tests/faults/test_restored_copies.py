"""A back-up of every step, put back after the round had gone on: the copy says nothing twice and leaves nothing out,
on a platform that deduplicates nothing."""

from __future__ import annotations

import asyncio
import re
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import AsyncExitStack, asynccontextmanager
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.config import Settings, load
from coldframe.domain.names import RUNNING, Step
from coldframe.domain.round.moves import Pause, Start
from coldframe.domain.round.notes import WriteNote
from coldframe.engine.delivery import downtime
from coldframe.message.packed import MessageName
from coldframe.store.round_keys import default_place
from coldframe.upkeep import back_up, put_back
from tests.engine.databases import POSTGRES, SQLITE, a_database, a_file, an_empty_database
from tests.engine.reaching import _commands as commands_of
from tests.faults.platform import LOOKING_UP, SPEAKING, Fault
from tests.faults.playing import ACTS_AFTER, START, TEAM, Bot, F, a_bot, a_step, on_a_copy, play_on

STEPS = [step for step in RUNNING if step is not Step.COMMITMENT]
WEEKS = 1
PASSPHRASE = "not asked for by a copy"
CASES = [
    pytest.param(kind, step, further, id=f"{kind}-{step}-{further}", marks=marks)
    for kind, often, others in ((SQLITE, 1, STEPS[::2]), (POSTGRES, 3, [Step.DOTS]))
    for step in STEPS
    for further in (0, 1, 3)
    for marks in [
        [pytest.mark.postgres] * (kind == POSTGRES) + [pytest.mark.slow] * (further != often or step not in others)
    ]
]
"""Which database, at which step the back-up was made, and how many steps the round went on before it was put back."""


def settings(address: str) -> Settings:
    return load({"COLDFRAME_DATABASE": address, "COLDFRAME_SECRET": PASSPHRASE})


@asynccontextmanager
async def put_back_after(
    kind: str,
    folder: Path,
    before: Callable[[Bot], Awaitable[None]],
    meanwhile: Callable[[Bot], Awaitable[None]],
    *,
    with_keys: bool = True,
) -> AsyncIterator[Bot]:
    """A bot on the copy of a moment, when the first one has gone on for a while; with the keys as they are by then, or
    without any."""
    async with copies_after(kind, folder, before, meanwhile, with_keys=with_keys) as (again,):
        yield again


@asynccontextmanager
async def copies_after(
    kind: str,
    folder: Path,
    before: Callable[[Bot], Awaitable[None]],
    meanwhile: Callable[[Bot], Awaitable[None]],
    *,
    with_keys: bool = True,
    processes: int = 1,
) -> AsyncIterator[list[Bot]]:
    """So many of them at one copy."""
    for name in ("first", "copy"):
        (folder / name).mkdir()
    with a_database(kind, folder / "first") as first, an_empty_database(kind, folder / "copy") as copy:
        async with a_bot(folder / "first", database=first) as bot:
            await before(bot)
            await back_up(settings(first), folder / "kept.backup", clock=bot.clock)
            await meanwhile(bot)
        await put_back(settings(copy), folder / "kept.backup")
        async with AsyncExitStack() as stack:
            keys = default_place(first) if with_keys else ""
            yield [await stack.enter_async_context(on_a_copy(bot, copy, keys, f"bot{n}")) for n in range(processes)]


async def starts(bot: Bot) -> None:
    """As the alarm does it."""
    await downtime.look_back(bot.engine.kit)
    await bot.engine.returned()
    await bot.engine.settle()


async def at(bot: Bot, step: Step) -> None:
    """The round comes to the step, which is open for some minutes."""
    await bot.act("start", Start(F))
    while (round_ := await bot.round()).step is not step:
        await a_step(bot, round_)
    await bot.until(max(bot.clock.now(), round_.progress.opens or START) + timedelta(minutes=10))


async def goes_on(bot: Bot, steps: int) -> None:
    for _ in range(steps):
        if (round_ := await bot.round()).step is not Step.COMMITMENT:
            await a_step(bot, round_)
    await bot.until(bot.clock.now() + timedelta(minutes=10))


def names(bot: Bot) -> dict[str, list[str]]:
    """By name of a message what stands there of it."""
    found: dict[str, list[str]] = {}
    for said in bot.platform.said:
        if not said.gone:
            found.setdefault(bot.store.claimed[said.key].name, []).append(said.words)
    return found


def said_twice(bot: Bot) -> list[str]:
    """What stands twice under one name, or in the same words in one conversation."""
    twice = [name for name, there in names(bot).items() if len(there) > 1]
    words = Counter((s.place.root(), s.words) for s in bot.platform.said if not s.gone and not s.words.startswith("["))
    return twice + [text for (_, text), times in words.items() if times > 1]


def called(found: Iterable[str]) -> set[str]:
    """Without what is drawn anew each time, and without what comes on some days and not on others: a copy goes on
    later."""
    bare = {re.sub("[0-9a-f]{12,16}(?=/|$)", "", name) for name in found}
    return {name for name in bare if MessageName.unpack(name).what not in ("moved", "nudge")}


_calm: dict[str, set[str]] = {}


async def calm(folder: Path) -> set[str]:
    """What is said in a round that nothing happens to; played once."""
    if not _calm:
        (folder / "calm").mkdir()
        async with a_bot(folder / "calm") as bot:
            await bot.act("start", Start(F))
            await play_on(bot, WEEKS)
            assert said_twice(bot) == []
            _calm["said"] = called(names(bot))
    return _calm["said"]


@pytest.mark.parametrize(("kind", "step", "further"), CASES)
async def test_a_copy_of_any_step_goes_on_as_if_nothing_had_been_lost(
    kind: str, step: Step, further: int, tmp_path: Path
) -> None:
    """Cards and sheets that had come to their end are open again, what was said is brought up to date, the round
    ends."""
    wanted = await calm(tmp_path)
    async with put_back_after(kind, tmp_path, lambda bot: at(bot, step), lambda bot: goes_on(bot, further)) as copy:
        before = len(copy.platform.said)
        await starts(copy)
        assert said_twice(copy) == []
        await play_on(copy, WEEKS)
        assert (await copy.round()).step is Step.COMMITTED
        assert said_twice(copy) == []
        assert wanted - called(names(copy)) == set()
        assert len(copy.platform.said) > before


async def test_what_still_waited_in_the_copy_and_had_gone_out_is_not_said_again(tmp_path: Path) -> None:
    """Of 33 sends that a copy held, 33 were said twice."""

    async def waiting(bot: Bot) -> None:
        bot.platform.faults.append(Fault("refuse", START, START + timedelta(hours=1), SPEAKING))
        await bot.act("start", Start(F))
        await bot.until(START + timedelta(minutes=30))

    async def goes_out(bot: Bot) -> None:
        assert bot.platform.said == []
        await bot.until(START + timedelta(hours=2))
        assert len(bot.platform.said) > 8

    async with put_back_after(SQLITE, tmp_path, waiting, goes_out) as copy:
        there = [(s.id, s.words) for s in copy.platform.said]
        await starts(copy)
        await copy.until(copy.clock.now() + timedelta(minutes=30))
        assert [(s.id, s.words) for s in copy.platform.said if "go back to a copy" not in s.words] == there
        async with copy.store.begin() as uow:
            assert {p.message_id for p in await uow.posted_like("r1/")} >= {message for message, _ in there[1:]}


@pytest.mark.postgres
@pytest.mark.slow
async def test_of_two_processes_that_start_on_one_copy_one_looks_back(tmp_path: Path) -> None:
    """Whichever is first: cards are said anew once, nothing twice, and who facilitates hears of it once."""
    many = copies_after(POSTGRES, tmp_path, lambda bot: at(bot, Step.DOTS), lambda bot: goes_on(bot, 1), processes=2)
    async with many as copies:
        await asyncio.gather(*map(starts, copies))
        assert said_twice(copies[0]) == [] == said_twice(copies[1])
        await copies[0].until(copies[0].clock.now() + timedelta(minutes=30))
        await play_on(copies[1], WEEKS)
        assert (await copies[0].round()).step is Step.COMMITTED
        assert said_twice(copies[0]) == []
        assert len([s for s in copies[0].platform.said if "go back to a copy" in s.words]) == 1


async def test_without_its_keys_a_copy_goes_on_with_the_rest_and_says_what_is_missing(tmp_path: Path) -> None:
    """On a new machine: what had not been shown is gone, all else is as in a copy with its keys."""

    async def with_notes(bot: Bot) -> None:
        await at(bot, Step.NOTES)
        await bot.until(bot.clock.now() + ACTS_AFTER)
        await bot.act("notes", *(c for c in commands_of(await bot.round()) if isinstance(c, WriteNote)))

    async with put_back_after(SQLITE, tmp_path, with_notes, lambda bot: goes_on(bot, 0), with_keys=False) as copy:
        assert (await copy.round()).notes == {}
        await starts(copy)
        await play_on(copy, WEEKS)
        (told,) = [s.words for s in copy.platform.said if "go back to a copy" in s.words]
        assert "that nobody else had seen" in told
        assert said_twice(copy) == [] and (await copy.round()).step is Step.COMMITTED


async def test_while_the_platform_cannot_be_read_a_copy_says_and_does_nothing(tmp_path: Path) -> None:
    """It is looked for again and again; then all goes on."""
    async with put_back_after(SQLITE, tmp_path, lambda bot: at(bot, Step.NOTES), lambda bot: goes_on(bot, 1)) as copy:
        now, before = copy.clock.now(), [(s.id, s.words, s.gone) for s in copy.platform.said]
        copy.platform.faults.append(Fault("refuse", now, now + timedelta(hours=3), LOOKING_UP))
        await starts(copy)
        await copy.until(now + timedelta(hours=2))
        assert [(s.id, s.words, s.gone) for s in copy.platform.said] == before
        assert (await copy.round()).step is Step.NOTES
        await play_on(copy, WEEKS)
        assert said_twice(copy) == [] and (await copy.round()).step is Step.COMMITTED


async def test_who_facilitates_hears_once_what_it_cannot_know(tmp_path: Path) -> None:
    """In plain words, with what to do; and where the channel may not be read, that something may stand there twice."""
    async with put_back_after(SQLITE, tmp_path, lambda bot: at(bot, Step.NOTES), lambda bot: goes_on(bot, 1)) as copy:
        now = copy.clock.now()
        copy.platform.faults.append(Fault("gone", now, now + timedelta(minutes=1), LOOKING_UP, TEAM))
        await starts(copy)
        await copy.until(now + timedelta(days=4))
        told = [s for s in copy.platform.said if "go back to a copy" in s.words]
        assert [s.place.id for s in told] == [F]
        assert "Please ask your team" in told[0].words and "may stand there twice" in told[0].words


async def test_a_move_to_another_database_is_no_loss(tmp_path: Path) -> None:
    """A copy of a bot that was stopped before, and has not run since, has nothing to tell anybody."""
    for name in ("first", "copy"):
        (tmp_path / name).mkdir()
    first, copy = a_file(tmp_path / "first"), f"sqlite:///{tmp_path / 'copy' / 'moved.db'}"
    async with a_bot(tmp_path / "first", database=first) as bot:
        await at(bot, Step.NOTES)
    await back_up(settings(first), tmp_path / "kept.backup", clock=bot.clock)
    await put_back(settings(copy), tmp_path / "kept.backup")
    async with on_a_copy(bot, copy, default_place(first)) as moved:
        await starts(moved)
        await play_on(moved, WEEKS)
        assert said_twice(moved) == [] and (await moved.round()).step is Step.COMMITTED
        assert [s for s in moved.platform.said if "go back to a copy" in s.words] == []


async def test_what_nothing_comes_of_goes_after_a_day(tmp_path: Path) -> None:
    """In private it goes, in the channel a line stays; until then it can be read."""

    async def a_step_further(bot: Bot) -> None:
        await goes_on(bot, 1)

    async with put_back_after(SQLITE, tmp_path, lambda bot: at(bot, Step.NOTES), a_step_further) as copy:
        async with copy.store.begin() as uow:
            known = {p.message_id for p in await uow.posted_like("")}
        strays = [s for s in copy.platform.said if s.id not in known and not s.gone]
        assert {s.place.kind for s in strays} == {"channel", "direct"}
        before = {s.id: s.words for s in strays}
        await starts(copy)
        now = copy.clock.now()
        assert {s.id: s.words for s in strays} == before
        await copy.act("rest", Pause(F))  # so that nothing comes of them
        await copy.until(now + timedelta(hours=23))
        assert {s.id: s.words for s in strays} == before and not any(s.gone for s in strays)
        await copy.until(now + timedelta(hours=25))
        for said in strays:
            assert said.gone or (said.place.kind == "channel" and "no longer counts" in said.words), said
