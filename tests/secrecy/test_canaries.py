"""What somebody gave or decided for themselves alone, before it is shown: in no file, on nobody else's screen, in no
other export or calendar, nor in the team's. Each kind by the surface by which people give it."""

from __future__ import annotations

import logging
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import AnnounceChoice, ChoosePlan
from coldframe.domain.round.commitment import Forecast
from coldframe.domain.round.moves import Close
from coldframe.domain.round.plans import HandInPlan
from coldframe.domain.trial.commands import Learn
from coldframe.engine.core.turn import Turn
from coldframe.ports.keys import Covers
from coldframe.speech.people.held_words import held_in
from coldframe.store import tables as t
from coldframe.timing.calendars import WorkingCalendar
from tests.domain.play import EVERYBODY, FD, D, F, a_plan
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step
from tests.engine.seeing_through import CHANNEL, MONDAY, Team, a_team
from tests.feeds.test_feed import client_of, path_of
from tests.secrecy.loot import taken

INES, JON = MemberId("ines"), MemberId("jon")
CANARY = "canary nobody else may read"


async def _screens(team: Team, others: tuple[MemberId, ...]) -> str:
    """All that these people can read: messages, passing words, files in their messages and in the channel."""
    room = team.house.room
    places = [room.channel(CHANNEL), *(room.direct(person) for person in others)]
    said: list[str] = []
    for record in (each for place in places for each in room.messages(place)):
        said.append(f"{record.text} {record.message}")
        for file in record.files:
            found = room.log.file(file.id)
            said.append(found[2].decode("utf-8", "replace") if found is not None else "")
    return "\n".join([*said, *(str(note.message) for person in others for note in room.notes(person))])


async def _calendars(team: Team, others: tuple[MemberId, ...]) -> str:
    async with client_of(team) as client:
        return "\n".join([await (await client.get(await path_of(team, person))).text() for person in others])


async def _found(team: Team, folder: Path, others: tuple[MemberId, ...] = (F, D, FD, INES)) -> list[str]:
    """Where it can be read, by somebody else than Jon."""
    for person in others:
        await team.command(person, "export", channel=False)
    if F in others:
        await team.command(F, "team")
        await team.press(F, "team.export")
    raw = b"".join(file.read_bytes() for file in folder.rglob("*.db*"))
    places = {
        "files": raw.decode("latin-1"),
        "screens and exports": await _screens(team, others),
        "calendars": await _calendars(team, others),
    }
    return [where for where, text in places.items() if CANARY in text]


async def test_forecasts_and_fears_before_the_seal(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """They are Jon's own; his export has them."""
    caplog.set_level(logging.DEBUG)
    async with a_team(tmp_path, sealed=False) as team:
        plan = PlanId("p0")
        await team.act("choose", ChoosePlan(F, plan, running_trials=0))
        if not (await team.current()).choices[plan].announced:
            await team.act("announce", AnnounceChoice(BOT, plan))
        await team.act("fears", Forecast(JON, plan, 37, CANARY))
        assert await _found(team, tmp_path) == []
        await team.command(JON, "export", channel=False)
        assert CANARY in await _screens(team, (JON,))
    assert CANARY not in caplog.text


async def test_learnings_before_the_review_is_closed(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Nor what was feared by too few to be shown, which stays its writer's."""
    caplog.set_level(logging.DEBUG)
    async with a_team(tmp_path, chances={JON: 70}, fears=(CANARY,)) as team:
        await team.weeks(1)
        trial = await team.trial()
        assert set(trial.feared) == {JON}
        changed = await _changed(team)
        team.clock.pass_by(timedelta(minutes=7))

        async def work(turn: Turn) -> None:
            await turn.act_on_trial(await turn.trial(trial.id), Learn(JON, CANARY))

        await team.house.engine.act("learns", work)
        assert await _changed(team) == changed, "no moment tells when somebody wrote"
        await team.settle()
        assert await _found(team, tmp_path) == []
    assert CANARY not in caplog.text


async def _changed(team: Team) -> list[object]:
    async with team.house.store.database.looking() as db:
        return [row.changed_at for row in await db.execute(select(t.trials.c.changed_at))]


# --- while a round runs ---


Gives = Callable[[Running], Awaitable[object]]
GIVEN: Mapping[str, tuple[Step, Gives]] = {
    "a note": (Step.NOTES, lambda team: team.say(JON, f"- retention: {CANARY}")),
    "a note by its form": (
        Step.NOTES,
        lambda team: team.fill(JON, "note.write", {"text": CANARY, "side": "restraining", "lever": "retention"}),
    ),
    "a line without a place": (Step.NOTES, lambda team: team.say(JON, CANARY)),
    "a note that came late": (Step.MERGE, lambda team: team.say(JON, f"- retention: {CANARY}")),
    "what strikes one while reading": (Step.PRECEDENTS, lambda team: team.fill(JON, "jot.write", {"text": CANARY})),
    "what strikes one beside one's plan": (Step.PLANS, lambda team: team.fill(JON, "jot.write", {"text": CANARY})),
    "a plan that is begun": (
        Step.PLANS,
        lambda team: team.say(JON, f"{CANARY}\nIf we ring, they stay.\n- ring"),
    ),
    "a precedent that is begun": (
        Step.PRECEDENTS,
        lambda team: team.say(JON, f"{CANARY}\nAn idea of theirs.\nMore."),
    ),
    "a plan with what is its author's alone": (Step.PLANS, lambda team: team.act("plan", HandInPlan(JON, _PLAN))),
}
_PLAN = replace(a_plan("p7"), title=CANARY, hypothesis=CANARY, might_fail=CANARY, steps=(CANARY,))


@pytest.mark.parametrize("what", GIVEN)
async def test_what_is_given_in_a_step(what: str, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The person's own export has it."""
    caplog.set_level(logging.DEBUG)
    step, gives = GIVEN[what]
    async with at_step(tmp_path, MONDAY, step) as team:
        opens = (await team.current()).progress.opens
        await team.until(max(opens or MONDAY, team.clock.now()))
        await gives(team)
        assert CANARY in await _kept(team, JON), "else nothing would be looked for"
        assert await _found(team, tmp_path) == []
    assert CANARY not in caplog.text


async def _kept(team: Running, person: MemberId) -> str:
    """What is kept of somebody in the round, as their own export says."""
    return str(held_in(await team.current(), person))


async def test_why_a_lever_was_picked_before_it_is_announced(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The decision-maker's alone for ten minutes, and nobody's when it is undone; announced, everybody's."""
    caplog.set_level(logging.DEBUG)
    others = (F, FD, INES, JON)
    async with at_step(tmp_path, MONDAY, Step.FOCUS) as team:
        opens = (await team.current()).progress.opens
        await team.until(max(opens or MONDAY, team.clock.now()))
        for settles in ("held.undo", "held.now"):
            await team.fill(D, "focus.pick", {"reason": CANARY})
            assert CANARY in await _kept(team, D)
            assert await _found(team, tmp_path, others) == []
            await team.press(D, settles)
            if settles == "held.undo":
                assert await _found(team, tmp_path, others) == []
        assert any(CANARY in said for said in team.channel())
    assert CANARY not in caplog.text


async def test_jottings_are_gone_once_the_plans_are_revealed(tmp_path: Path) -> None:
    """Their key with them, so that no earlier copy opens any more."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        opens = (await team.current()).progress.opens
        await team.until(max(opens or MONDAY, team.clock.now()))
        await team.fill(JON, "jot.write", {"text": CANARY})
        assert Covers.JOTTINGS in {use.covers for use in await team.house.store.keys.uses()}
        await team.act("plans", HandInPlan(F, a_plan("p0")), HandInPlan(D, a_plan("p1")), Close(F))
        await team.settle()
        assert (await team.current()).jottings == {}
        assert Covers.JOTTINGS not in {use.covers for use in await team.house.store.keys.uses()}
        assert await _found(team, tmp_path) == []


async def test_of_those_who_sleep_nobody_is_told_by_what_waits(tmp_path: Path) -> None:
    """Ines wrote, Jon did not: the same waits for both, also after the trial has gone on; only Ines is asked."""
    far = {p: WorkingCalendar(zone="Pacific/Auckland" if p in (INES, JON) else "UTC") for p in EVERYBODY[:6]}
    async with a_team(tmp_path, calendars=far, chances={INES: 70}, fears=(CANARY,)) as team:
        waits = await _asks_that_wait(team)
        assert len(waits) == 2 and len(set(waits)) == 1
        await team.command(D, "trials", channel=False)
        await team.press(D, "trial.tick")
        assert len(await _asks_that_wait(team)) % 2 == 0 and {*await _asks_that_wait(team)} == {*waits}
        await team.until(datetime(2026, 3, 2, 21, tzinfo=UTC))
        assert not any("with your name" in said for said in team.told(JON))
        assert any("with your name" in said for said in team.told(INES))


async def _asks_that_wait(team: Team) -> list[tuple[object, ...]]:
    """The question after the seal as its rows tell of it; the one before it went with its step."""
    async with team.house.store.database.looking() as db:
        rows = await db.execute(select(t.outbox).where(t.outbox.c.kind == "post", t.outbox.c.only_in.is_(None)))
        return [(row.try_at, row.state, len(row.body), row.only_in) for row in rows]


async def test_what_waits_to_be_asked_of_somebody_in_their_night(tmp_path: Path) -> None:
    """The question repeats what they wrote; until their day begins it stands in the outbox, under no name, where its
    words, its conversation and whose hours it keeps are nobody's to read."""
    far = {person: WorkingCalendar(zone="Pacific/Auckland" if person == JON else "UTC") for person in EVERYBODY[:6]}
    async with a_team(tmp_path, calendars=far, chances={JON: 70}, fears=(CANARY,)) as team:
        assert not any("with your name" in said for said in team.told(JON))
        loot = await taken(team.house.store, b"", tmp_path)
        waits = [row for row in loot.tables["outbox"] if row["try_at"] > team.clock.now().timestamp() * 1000]
        assert waits and not [row for row in waits if re.search(r"\bjon\b", " ".join(map(str, row.values())))]
        assert await _found(team, tmp_path) == []
        await team.until(datetime(2026, 3, 2, 20, 30, tzinfo=UTC))
        assert [said for said in team.told(JON) if "with your name" in said and CANARY in said]
        assert await _found(team, tmp_path) == []
