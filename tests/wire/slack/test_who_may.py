"""Who may do and read what, through Slack's own surfaces: mentions, the command, direct messages, buttons, forms, the
bot's own page. What came of it is judged by what stands on the screens and in the database, against the table."""

from __future__ import annotations

import asyncio
import json
import random
import sqlite3
from collections import Counter
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coldframe.clock import RandomIds
from coldframe.domain.people.played import alone, who_is_alone
from coldframe.domain.who_may import BY_WAY, Act, Cell, Who, cell
from coldframe.engine.intake import flood
from coldframe.ports.storage import Member
from coldframe.wiring import open_store, secret_from
from tests.bench.slack_ack import BALLOT_CHANNEL, under_way
from tests.wire.slack.people import CHANNEL, EIGHT, Someone
from tests.wire.slack.test_calendar_feed import served
from tests.wire.slack.workspace import TEAM, Workspace

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
"""The room's walk (tests/access) tries the same table on every run."""
ANA, HAN, GIL, FAY = "U0ANA", "U0HAN", "U0GIL", "U0FAY"
PEOPLE: dict[str, Who] = {
    FAY: Who.SEATED, "U0MEL": Who.MEMBER, "U0GUS": Who.GUEST, HAN: Who.LEFT, GIL: Who.LEFT, "U0OTTO": Who.LEFT,
    "U0FRAN": Who.FOREIGN, "U0BERT": Who.BOT,
}  # fmt: skip
"""Han left while nobody told the bot, Gil's account is closed, Otto was never there; the others are in the channel."""
WORDS = {
    "": Act.PANEL, "help": Act.HELP, "status": Act.STATUS, "digest": Act.DIGEST, "trials": Act.TRIALS,
    "search bill": Act.SEARCH, "mine": Act.MINE, "roles": Act.SEE_ROLES, "export": Act.OWN_DATA, "close": Act.CLOSE,
    "funnel": Act.FUNNEL, "hours": Act.OWN_TIME, "hide Slow": Act.ASK_TO_HIDE,
}  # fmt: skip
SECRETS = ("Where do we leak", "Slow pages", "The bill", "are in", "is at")
REFUSED = ("You aren't in the channel", "You're a guest here", "you belong to another", "You aren't taking part")
WAYS = ("mention", "command", "command in private", "line in private")
OUTSIDE_OF_IT = (HAN, GIL, "U0OTTO")


def possible(person: str, way: str) -> bool:
    """Nobody mentions anybody in a channel that they are not in, or has direct messages with another firm's app or by
    a closed account."""
    return not (way == "mention" and person in OUTSIDE_OF_IT) and not ("private" in way and person in ("U0FRAN", GIL))


TRIES = [(person, word, way) for person in PEOPLE for word in WORDS for way in WAYS if possible(person, way)]


@dataclass
class There:
    workspace: Workspace
    database: Path

    def someone(self, person: str) -> Someone:
        return Someone(self.workspace, person)

    def decided(self) -> list[Any]:
        """What people decided, as it is stored; but for what somebody tries alone in their own messages."""
        own = alone("%")
        with closing(sqlite3.connect(self.database)) as database:
            return [
                *database.execute("select id, step, version from rounds where channel not like ? order by id", (own,)),
                *database.execute("select * from teams where team not like ? order by 1, 2", (own,)),
            ]

    def rehearsing(self) -> set[str | None]:
        """Who tries a round alone in their own messages."""
        with closing(sqlite3.connect(self.database)) as database:
            found = database.execute("select channel from rounds where channel like ?", (alone("%"),)).fetchall()
        return {who_is_alone(channel) for (channel,) in found}

    def sees(self, person: str) -> Counter[str]:
        """All that stands on this person's screen, beside what the channel shows to everybody."""
        someone = self.someone(person)
        pages = [self.workspace.homes.get(person), self.workspace.views.get(person)]
        messages = ((m["ts"], m["blocks"]) for m in someone.inbox() if m.get("blocks"))
        return Counter(map(str, (*someone.notes(), *messages, *pages)))

    def reads(self, person: str) -> str:
        return "\n".join(self.sees(person).elements())

    async def settled(self) -> None:
        """Everything that happened is answered, and nothing waits to go out: what stands now came of what was done."""
        while True:
            await self.workspace.delivery.settled()
            if under_way := [task for task in asyncio.all_tasks() if _answers(task)]:
                await asyncio.wait(under_way)
            elif not self._to_go_out():
                return
            else:
                await asyncio.sleep(0.005)

    def _to_go_out(self) -> int:
        waits = "select count(*) from outbox where state not in ('sent', 'parked') and try_at <= ?"
        now = int(datetime.now(UTC).timestamp() * 1000)
        with closing(sqlite3.connect(self.database)) as database:
            return int(database.execute(waits, (now,)).fetchone()[0])

    async def until(self, person: str, seen: Callable[[], object], patience: float) -> bool:
        """Whether it came about."""
        async with asyncio.timeout(patience):
            while not seen():
                await asyncio.sleep(0.01)
        return True


@pytest.fixture
async def there(workspace: Workspace, tmp_path: Path) -> AsyncIterator[There]:
    async with at_work(workspace, tmp_path) as made:
        yield made


@asynccontextmanager
async def at_work(workspace: Workspace, folder: Path) -> AsyncIterator[There]:
    """Two rounds under way, and people of every kind in their channels."""
    for person, name, zone in EIGHT:
        workspace.add_person(person, name, zone)
    workspace.add_person("U0MEL", "Mel", "UTC")
    workspace.add_person("U0GUS", "Gus", "UTC", is_restricted=True)
    workspace.add_person("U0OTTO", "Otto", "UTC")
    workspace.add_person("U0FRAN", "Fran", "UTC", team_id="T2", is_stranger=True)
    workspace.add_person("U0BERT", "Bert", "UTC", is_bot=True)
    workspace.users[GIL]["deleted"] = True
    here = [p for p, _, _ in EIGHT if p != HAN] + ["U0MEL", "U0GUS", "U0FRAN", "U0BERT"]
    for channel, name in ((CHANNEL, "growth"), (BALLOT_CHANNEL, "ballot")):
        workspace.add_channel(channel, name, here)
    database = folder / "bot.db"
    address, secret = f"sqlite:///{database}", secret_from("a passphrase for tests, long enough")
    await under_way(address, secret)
    await _known(address, secret)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(flood, "MOST", 10**6)  # they do in a minute what they are not meant to
        async with served(workspace, folder):
            yield await _made(workspace, database)


async def _made(workspace: Workspace, database: Path) -> There:
    made = There(workspace, database)
    await made.until(ANA, lambda: len(made.someone(ANA).inbox()) > 4, 60)
    return made


async def _known(address: str, secret: bytes) -> None:
    """Mel has been in the channel all along, and has no seat."""
    store = await open_store(address, secret, RandomIds())
    try:
        async with store.begin() as uow:
            await uow.save_member(Member(TEAM, "U0MEL", "Mel", "UTC"))
    finally:
        await store.close()


def _answers(task: asyncio.Task[Any]) -> bool:
    """Whether it shows a passing word or a form, or takes something in."""
    return getattr(task.get_coro(), "__qualname__", "") in ("_quietly", "Measured.receive")


async def tries(there: There, person: str, word: str, way: str) -> str:
    """Says the word, and gives what this person reads of it; "" where nothing came."""
    await there.settled()
    someone, before = there.someone(person), there.sees(person)
    match way:
        case "mention":
            someone.mentions(word or "help", BALLOT_CHANNEL)
        case "command":
            await someone.commands(word, BALLOT_CHANNEL)
        case "command in private":
            await someone.commands(word, someone.direct)
        case _:
            someone.says(word or "help")
    await there.settled()
    return "\n".join((there.sees(person) - before).elements())


def wrong(person: str, act: Act, read: str) -> str:
    who, says = PEOPLE[person], cell(act, PEOPLE[person])
    if who is Who.BOT:
        return "a bot got an answer" if read else ""
    if not read:
        return "no answer"
    if says is Cell.NO and (seen := [secret for secret in SECRETS if secret in read]):
        return f"saw {seen}"
    if says is Cell.YES and any(words in read for words in REFUSED):
        return "was refused"
    return ""


async def judged(there: There, chosen: Sequence[tuple[str, str, str]]) -> list[str]:
    before, found = there.decided(), []
    for person, word, way in chosen:
        act = WORDS[word] if word or "command" in way else Act.HELP
        read = await tries(there, person, word, way)
        if problem := wrong(person, act, read):
            found.append(f"{person} ({PEOPLE[person]}) {word!r} by {way}: {problem}; read {read[:300]!r}")
        if there.decided() != before and PEOPLE[person] is not Who.SEATED:  # whose line may become a note
            found.append(f"{person} ({PEOPLE[person]}) {word!r} by {way}: changed something")
        before = there.decided()
    return found


async def test_words_in_the_channel_and_in_private(there: There) -> None:
    """A sample; whoever is of another kind than those who take part is told why not, and reads nothing. All of them:
    `python -m tests.bench.access_slack`."""
    assert len(TRIES) > 300
    found = await judged(there, random.Random(2).sample(TRIES, 40))
    assert found == [], "\n".join(found)


OUTSIDE = [person for person, who in PEOPLE.items() if who not in (Who.SEATED,)]


async def test_buttons_under_everything_that_anybody_was_shown(there: There) -> None:
    """Pressed by people of all kinds, as their own clients would or as somebody makes it up: nothing changes. Only a
    round of one's own is begun, alone and by whoever may."""
    before, found = there.decided(), []
    shown: dict[str, tuple[str, dict[str, Any], str]] = {}
    for channel, message, button in _buttons(there):
        action = str(button["action_id"]).rpartition("#")[0]
        shown.setdefault(action, (channel, message, button["text"]["text"]))
    assert {"note.write", "vote.cast", "step.done", "round.start", "hours.write"} <= shown.keys()
    for action, (channel, message, label) in shown.items():
        for person in OUTSIDE:
            there.workspace.views.pop(person, None)  # of a button before, which they may press
            someone, read = there.someone(person), there.sees(person)
            await someone.press(message, label, channel)
            news = "\n".join((there.sees(person) - read).elements())
            act, who = BY_WAY[action], PEOPLE[person]
            if cell(act, who) is Cell.NO and (there.workspace.views.get(person) or _secrets(news)):
                found.append(f"{who} {action}: {news[:200]!r}")
    await there.settled()
    assert found == []
    assert there.decided() == before
    assert there.rehearsing() == {"U0MEL", "U0OTTO"}  # a member without a seat, and who was in no round yet


def _buttons(there: There) -> list[tuple[str, dict[str, Any], dict[str, Any]]]:
    """Every button that anybody was shown: where, under which message."""
    return [
        (channel.id, message, button)
        for channel in there.workspace.channels.values()
        for message in channel.messages.values()
        for block in message.get("blocks") or ()
        for button in (block["elements"] if block["type"] == "actions" else ())
    ]


def _secrets(read: str) -> list[str]:
    return [secret for secret in SECRETS if secret in read]


async def test_presses_of_another_organisation_stop_at_the_door(there: There) -> None:
    """Slack tells the home of whoever presses; nothing is even looked up."""
    message, label = next((m, b["text"]["text"]) for channel, m, b in _buttons(there) if channel == CHANNEL)
    someone, before = there.someone("U0FRAN"), there.decided()
    someone._interaction = lambda kind: {  # type: ignore[method-assign]
        **Someone._interaction(someone, kind), "user": {"id": "U0FRAN", "team_id": "T2"},
    }  # fmt: skip
    await someone.press(message, label, CHANNEL)
    assert there.decided() == before and there.workspace.views.get("U0FRAN") is None


async def test_a_form_that_was_opened_before_its_writer_left(there: There) -> None:
    """What was written comes back to them in private, with the reason; nothing of it is kept."""
    fay = there.someone(FAY)
    prompt = next(m for m in fay.inbox() if "note.write" in str(m.get("blocks")))
    buttons = [e for b in prompt["blocks"] if b["type"] == "actions" for e in b["elements"]]
    label = next(e["text"]["text"] for e in buttons if "note.write" in e["action_id"])
    await fay.press(prompt, label)
    await fay.sees(fay.form)
    fay.leaves(CHANNEL)
    await there.until(FAY, lambda: _left(there, FAY), 5)
    await fay.sends(text="Only I know this", side="restraining")
    await there.until(FAY, lambda: "Only I know this" in there.reads(FAY), 5)
    assert "You aren't in the channel of " in there.reads(FAY)


def _left(there: There, person: str) -> bool:
    with closing(sqlite3.connect(there.database)) as database:
        docs = database.execute("select doc from rounds where channel = ?", (CHANNEL,)).fetchall()
    return any(f'"member":"{person}"' in doc and _seat(doc, person) for (doc,) in docs)


def _seat(doc: str, person: str) -> bool:
    return bool(json.loads(doc)["seats"][person]["left"])


async def test_their_own_page_shows_nothing_to_somebody_who_left(there: There) -> None:
    """Nor to guests and people of other organisations; to those who take part it shows what they owe."""
    for person in (FAY, HAN, "U0GUS", "U0FRAN"):
        there.someone(person).opens_home()
    await there.until(FAY, lambda: FAY in there.workspace.homes, 5)
    assert "Notes" in str(there.workspace.homes[FAY])
    assert not [p for p in (HAN, "U0GUS", "U0FRAN") if _secrets(str(there.workspace.homes.get(p, "")))]


async def test_who_comes_back_is_let_in_at_once(there: There) -> None:
    """What Slack tells by itself counts at once, though the channel was asked about a moment ago."""
    mel = there.someone("U0MEL")
    assert "are in" in await tries(there, "U0MEL", "status", "command")
    mel.leaves(BALLOT_CHANNEL)
    await asyncio.sleep(0.2)
    assert "You aren't in the channel" in await tries(there, "U0MEL", "trials", "command")
    mel.joins(BALLOT_CHANNEL)
    await asyncio.sleep(0.2)
    assert "You aren't in" not in await tries(there, "U0MEL", "digest", "command")
