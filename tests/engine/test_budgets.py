"""What each path may ask of the database: statements and transactions are counted, on SQLite, as it is asked."""

from __future__ import annotations

import sqlite3
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import RandomIds, SystemClock
from coldframe.domain.names import MemberId, Role
from coldframe.domain.round.ballots import CastVote
from coldframe.domain.round.moves import Close
from coldframe.engine.core.turn import InlineNumbers, Turn
from coldframe.engine.engine import Engine
from coldframe.engine.uses import assembled
from coldframe.message.nodes import Message, line
from coldframe.ports.chat import Happening, Inbound, Place, Pressed, Reacted, Said
from coldframe.ports.storage import Due, Send
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.bench.happening import SECRET, SilentChat
from tests.bench.slack_ack import under_way
from tests.wire.slack.people import EIGHT
from tests.wire.slack.workspace import TEAM

WHO = EIGHT[0][0]
_keys = count(1)


@dataclass
class Asked:
    """What went to the database."""

    statements: list[str] = field(default_factory=list)

    def note(self, statement: str) -> None:
        """Rows that are added at once are one; what a trigger does, and the end, nobody asked for."""
        added = statement.partition("VALUES")[0]
        if statement != "COMMIT" and not statement.startswith("-- ") and not self._goes_on(added):
            self.statements.append(statement)

    def _goes_on(self, added: str) -> bool:
        return bool(self.statements) and added.startswith("INSERT") and self.statements[-1].startswith(added)

    @property
    def transactions(self) -> int:
        return sum(statement.startswith("BEGIN") for statement in self.statements)

    @property
    def within(self) -> int:
        return len(self.statements) - self.transactions


@dataclass
class Bot:
    """A bot with two rounds under way, all of whose messages are out."""

    engine: Engine
    store: SqlStore
    chat: SilentChat
    file: sqlite3.Connection

    @contextmanager
    def asked(self) -> Iterator[Asked]:
        asked = Asked()
        self.file.set_trace_callback(asked.note)
        yield asked
        self.file.set_trace_callback(None)

    async def hears(self, what: Happening) -> Asked:
        """One happening, after one like it: what the process remembers of the round stands."""
        with self.asked() as asked:
            place = Place(TEAM, "direct", WHO)
            reply = await self.engine.receive(
                Inbound(f"budget/{next(_keys)}", WHO, place, self.engine.kit.clock.now(), what)
            )
        assert not reply.errors and reply.note is None
        return asked


@pytest.fixture
async def bot(tmp_path: Path) -> AsyncIterator[Bot]:
    database = f"sqlite:///{tmp_path / 'bot.db'}"
    await under_way(database, SECRET)
    ids, chat = RandomIds(), SilentChat()
    store = await open_store(database, SECRET, ids)
    engine = assembled(store, chat, SystemClock(), ids, InlineNumbers())  # type: ignore[arg-type]  # what is used of it
    await engine.settle()
    file: Any = await store.database.run(lambda connection: connection.connection.dbapi_connection)
    yield Bot(engine, store, chat, file)
    await store.close()


async def test_a_note_is_one_transaction_of_nine_statements(bot: Bot) -> None:
    """Key, rounds of the writer, version, round, note, fact, waiting cards, their new state, answers."""
    await bot.hears(Said("- retention: the first invoice surprises", "m1"))
    await bot.engine.settle()
    asked = await bot.hears(Said("- retention: the second invoice surprises", "m2"))
    assert (asked.transactions, asked.within <= 9) == (1, True), asked.statements


async def test_a_vote_by_emoji_is_one_transaction_of_ten_statements(bot: Bot) -> None:
    """Key, message, version, round, the voter's marks away and back, fact, what is held for
    them, waiting cards, their new state."""
    message = bot.chat.lines(WHO)[0]
    await bot.hears(Reacted(message, "seedling", True))
    await bot.engine.settle()
    asked = await bot.hears(Reacted(message, "herb", True))
    assert (asked.transactions, asked.within <= 10) == (1, True), asked.statements


async def test_a_press_is_one_transaction_of_nine_statements(bot: Bot) -> None:
    """The round that the button names is not looked for."""
    (message, value), (other, at_other) = bot.chat.under(WHO, "vote.cast")[:2]
    await bot.hears(Pressed("vote.cast", value, message))
    await bot.engine.settle()
    asked = await bot.hears(Pressed("vote.cast", at_other, other))
    assert (asked.transactions, asked.within <= 9) == (1, True), asked.statements


async def test_a_repetition_is_one_statement(bot: Bot) -> None:
    """A key that stands ends the transaction at once."""
    _, value = bot.chat.under(WHO, "vote.cast")[0]
    again = Inbound("twice", WHO, Place(TEAM, "direct", WHO), bot.engine.kit.clock.now(), Pressed("vote.cast", value))
    await bot.engine.receive(again)
    with bot.asked() as asked:
        await bot.engine.receive(again)
    assert (asked.transactions, asked.within) == (1, 1)


async def test_a_due_row_is_taken_done_and_ended_in_one_transaction(bot: Bot) -> None:
    """One look tells which row is due; its transaction ends it: here with a reminder that is said, in the hours of
    whoever gets it."""
    now = bot.engine.kit.clock.now()
    async with bot.store.begin() as uow:
        (head,) = await uow.heads(TEAM, channel="C0BALLOT")
        await uow.set_due([Due("remind", head.id, f"dots/{WHO}/1", now - timedelta(seconds=1))])
    with bot.asked() as asked:
        assert await bot.engine.do_due() == 1
    looks = 2  # one that finds it, and one that finds nothing more
    assert asked.transactions == 1
    assert asked.within <= looks + 20, asked.statements
    async with bot.store.begin() as uow:
        assert not [due for due in await uow.dues("remind") if due.at < now]


async def test_a_look_for_what_waits_asks_nothing_until_something_is_written(bot: Bot) -> None:
    """Nobody else writes a file that is held alone; what this process writes is seen at once."""
    first = (await bot.store.waiting()).first
    with bot.asked() as asked:
        assert (await bot.store.waiting()).first == first
    assert not asked.statements
    at = bot.engine.kit.clock.now() - timedelta(days=1)
    async with bot.store.begin() as uow:
        await uow.set_due([Due("remind", "r1", "dots/x/1", at)])
    waiting = await bot.store.waiting()
    assert waiting.row is not None and waiting.row.at == waiting.first
    async with bot.store.begin() as uow:
        await uow.drop_due("r1", kind="remind")
    assert (await bot.store.waiting()).first == first


@pytest.mark.parametrize("sends", [1, 8, 20])
async def test_a_batch_of_sends_is_claimed_at_once_and_marked_at_once(bot: Bot, sends: int) -> None:
    """Two transactions and at most six statements, however many conversations there are."""
    async with bot.store.begin() as uow:
        posts = [
            Send("post", f"budget/{n}", Place(TEAM, "direct", f"U{n}"), Message(line("Hello"))) for n in range(sends)
        ]
        await uow.send(posts, bot.engine.kit.clock.now())
    with bot.asked() as asked:
        assert await bot.engine.deliver() == sends
    nothing_more = 1
    assert asked.transactions == 2 + nothing_more
    assert asked.within <= 6 + nothing_more, asked.statements


async def test_a_step_closes_in_as_many_statements_however_many_messages_it_had(bot: Bot) -> None:
    """What is open of a round is found at once, ended at once, and put into the outbox at once; with a vote and the
    opening of the next step, and whose pages are open, that is some thirty."""
    async with bot.store.begin() as uow:
        (head,) = await uow.heads(TEAM, channel="C0BALLOT")
        round_ = await uow.round(head.id)
        assert round_ is not None
        open_ = await uow.open_posts(TEAM, round_.id, round_.seats)
    assert len(open_) > 50

    async def close(turn: Turn) -> None:
        now_round = await turn.round(head.id)
        voted = await turn.act(now_round, CastVote(MemberId(WHO), str(now_round.forces[0].id), "button"))
        await turn.act(voted, Close(now_round.roles.acting(Role.FACILITATOR)))

    with bot.asked() as asked:
        await bot.engine.act("budget/close", close)
    assert asked.within <= 37, asked.statements
    async with bot.store.begin() as uow:
        left = await uow.open_posts(TEAM, round_.id, round_.seats)
    assert not [posted for posted in left if "/option/" in posted.name and posted.round_id == round_.id]
