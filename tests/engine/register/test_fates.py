"""What becomes of plans that are not tried, and what was decided until it is done: through the room."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coldframe.domain.commands import BOT
from coldframe.domain.fates import Corner, Fate, FateKind, Placed
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.round.choosing import AnswerOwnership, AskOwner, ChoosePlan
from coldframe.domain.round.commitment import SetActions, SetNextRound
from coldframe.domain.round.fates import KnowCorners
from coldframe.domain.state import Action
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import erasing, leftovers
from coldframe.message.nodes import TextFile
from coldframe.speech.register.story_words import read_back
from tests.domain.play import DD, EVERYBODY, FD, D, F, live_now
from tests.engine.seeing_through import CHANNEL, MONDAY, Team, a_team, words

INES, JON = EVERYBODY[4], EVERYBODY[5]
P0, P1, P2 = (PlanId(f"p{n}") for n in range(3))
DAY, WEEK = timedelta(days=1), timedelta(weeks=1)
ERRAND = {"p1.fate": "errand", "p1.owner": "jon", "p1.due": "in 2 weeks", "p1.where": "the web team's board"}
DROPPED = {"p2.fate": "dropped", "p2.why": "Nobody can build it."}
DETAILS = ("owner", "due", "where")


async def settle(team: Team, person: MemberId, fields: Mapping[str, str]) -> Mapping[str, str]:
    """In the form about all plans, and in the one that follows about what is to be done; what was wrong."""
    opened = (await team.press(person, "fate.settle")).form
    assert opened is not None
    later = {name: text for name, text in fields.items() if name.partition(".")[2] in DETAILS}
    now = {name: text for name, text in fields.items() if name not in later}
    reply = await team.house.room.submit(person, opened.action, opened.value, now)
    if reply.form is not None and later:
        reply = await team.house.room.submit(person, reply.form.action, reply.form.value, later)
    await team.settle()
    return reply.errors


@pytest.fixture
async def team(tmp_path: Path) -> AsyncIterator[Team]:
    """Three plans, of which the first is chosen and owned; the rest is still to be settled."""
    async with a_team(tmp_path, sealed=False) as found:
        now = found.clock.now()
        action = Action("a1", "When it is ten I call the first team", D, now + DAY)
        await found.act(
            "all but the fates", ChoosePlan(F, P0), AskOwner(F, P0, D), AnswerOwnership(D, P0, accept=True),
            SetActions(D, P0, (action,)), live_now(now, D, P0, now + 5 * WEEK), SetNextRound(F, now + 8 * WEEK),
        )  # fmt: skip
        yield found


async def _digest(team: Team) -> str:
    note = (await team.command(F, "digest")).note
    assert note is not None
    return words(note)


def _desk(team: Team) -> str:
    return next(text for text in reversed(team.channel()) if "Commitment" in text)


async def _fates(team: Team) -> dict[str, Fate]:
    async with team.house.store.begin() as uow:
        return dict((await uow.team("room", CHANNEL)).fates)


async def _sealed(team: Team) -> None:
    assert await settle(team, F, ERRAND | DROPPED) == {}
    await team.press(D, "round.commit")
    team.round = await team.current()
    assert team.round.step is Step.COMMITTED


# --- the desk -------------------------------------------------------------------------------------------------------


async def test_the_seal_waits_until_every_plan_has_a_fate(team: Team) -> None:
    """Two are open, then one, then none; what is lacking and who gives it stands on the card."""
    assert "what becomes of the plans that aren't tried isn't settled yet (Dora or Faye can do that)" in _desk(team)
    assert await settle(team, F, ERRAND) == {}
    desk = _desk(team)
    assert "- “Title of p1”: an errand for Jon, by" in desk and "at the web team's board" in desk
    assert "isn't settled" in desk and "- “Title of p2”\n" in desk + "\n"
    await settle(team, D, DROPPED)
    assert "- “Title of p2”: dropped. Nobody can build it." in _desk(team) and "isn't settled" not in _desk(team)
    await team.press(D, "round.commit")
    assert "- “Title of p2”: dropped. Nobody can build it." in "\n".join(team.channel()[-8:])


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        (ERRAND | {"p1.where": " "}, "p1.where", "Please fill this in."),
        (ERRAND | {"p1.due": "03/04"}, "p1.due", "can mean"),
        (ERRAND | {"p1.due": "yesterday"}, "p1.due", "past"),
        (DROPPED | {"p2.why": " "}, "p2.why", "Why is “Title of p2” dropped?"),
    ],
)
async def test_what_is_wrong_is_said_at_its_field(team: Team, fields: dict[str, str], field: str, why: str) -> None:
    """Nothing of what the form asks about is kept until all of it is right."""
    wrong = await settle(team, F, fields)
    assert list(wrong) == [field] and why in wrong[field]
    assert not (await team.current()).fates


async def test_the_corner_stands_beside_each_plan_and_going_against_it_asks_why(team: Team) -> None:
    """A sure corner asks of a fate and of a choice; an unsure one stands there and asks nothing."""
    corners = {P1: Placed(Corner.JUST_DO_IT, sure=True), P2: Placed(Corner.TRIAL_NOW)}
    await team.act("placed", KnowCorners(BOT, corners))
    assert "“Title of p1” (just do it)" in _desk(team) and "“Title of p2” (perhaps trial now)" in _desk(team)
    opened = (await team.press(F, "fate.settle")).form
    assert opened is not None and {f.name: f.initial for f in opened.fields}["p1.fate"] == "errand"
    kept = {"p1.fate": "kept", "p1.why": "", "p2.fate": "project", "p2.why": ""}
    project = {"p2.owner": "ines", "p2.due": "in 6 weeks", "p2.where": "the platform board"}
    wrong = await settle(team, F, kept | project)
    assert wrong == {"p1.why": "The matrix says of “Title of p1”: just do it. Why otherwise? A few words are enough."}
    assert await settle(team, F, kept | project | {"p1.why": "The web team is away."}) == {}
    assert "kept for the next round. The web team is away." in _desk(team)


async def test_a_trial_against_the_matrix_asks_why(team: Team) -> None:
    """The form opens instead of the choice, and what was said stands on the card."""
    await team.act("placed", KnowCorners(BOT, {P1: Placed(Corner.SET_ASIDE, sure=True)}))
    opened = await team.press(F, "choice.make", f"{team.round.id}|p1")
    assert opened.form is not None and P1 not in (await team.current()).choices
    room = team.house.room
    reply = await room.submit(F, opened.form.action, opened.form.value, {"why": "ok"})
    assert "why" in reply.errors
    await room.submit(F, opened.form.action, opened.form.value, {"why": "It is the only one for new teams."})
    await team.until(team.clock.now() + 2 * DAY)
    assert (await team.current()).choices[P1].why == "It is the only one for new teams."
    assert "Why now: It is the only one for new teams." in _desk(team)


async def test_a_plan_that_is_chosen_after_all_loses_its_fate(team: Team) -> None:
    """And one that is taken out again needs another."""
    await settle(team, F, ERRAND | DROPPED)
    await team.act("choose", ChoosePlan(F, P1))
    assert set((await team.current()).fates) == {P2}
    await team.press(F, "choice.drop", f"{team.round.id}|p1")
    assert "isn't settled" in _desk(team)


async def test_only_those_who_settle_say_what_becomes_of_plans(team: Team) -> None:
    """Neither its owner nor anybody else."""
    reply = await team.press(JON, "fate.settle")
    assert reply.form is None
    assert not (await team.current()).fates


# --- until it is done -----------------------------------------------------------------------------------------------


async def test_nobody_owns_an_errand_without_a_yes(team: Team) -> None:
    """Asked in private at the seal; the yes is taken, and the message becomes a line."""
    await _sealed(team)
    assert (await _fates(team))["r1-p1"].owner is None
    page = next(text for text in team.told(JON) if "Would you see this done" in text)
    assert "“Title of p1”: an errand, by" in page and "the web team's board" in page
    assert "stuck" not in await _digest(team), "he was asked a moment ago"
    await team.until(team.clock.now() + 2 * DAY)
    assert "one stuck" in await _digest(team)
    await team.press(JON, "todo.accept")
    assert "stuck" not in await _digest(team)
    assert (await _fates(team))["r1-p1"].owner == JON
    assert not [text for text in team.told(JON) if "Would you see this done" in text]


async def test_what_is_due_is_asked_about_once_a_week_until_it_is_done(team: Team) -> None:
    """On its day, seven days later, and never after it is done; one message, not a pile."""
    await _sealed(team)
    await team.press(JON, "todo.accept")
    found = await team.heard(JON, "Is it done?", until=WEEK + 4 * DAY)
    assert found == []
    found = await team.heard(JON, "Is it done?", until=3 * WEEK + 4 * DAY)
    assert len(found) == 2 and "“Title of p1”: an errand, by" in found[0]
    assert sum("Is it done?" in text for text in team.told(JON)) == 1
    await team.press(JON, "todo.done")
    assert (await _fates(team))["r1-p1"].done == team.clock.now()
    assert await team.heard(JON, "Is it done?", until=7 * WEEK) == []


async def test_a_new_date_is_kept_to(team: Team) -> None:
    """It is asked about then, and how often it moved is counted."""
    await _sealed(team)
    await team.press(JON, "todo.accept")
    await team.until(MONDAY + 2 * WEEK + DAY)
    assert await team.fill(JON, "todo.move", {"date": "in 3 weeks"}) == {}
    assert (await _fates(team))["r1-p1"].moved == 1
    assert await team.heard(JON, "Is it done?", until=5 * WEEK) == []
    assert len(await team.heard(JON, "Is it done?", until=5 * WEEK + 3 * DAY)) == 1
    assert "date" in await team.fill(JON, "todo.move", {"date": "2026-01-05"})


async def test_a_no_reaches_the_facilitator_who_asks_somebody_else(team: Team) -> None:
    """Whoever is proposed instead is asked at once; else the facilitator is."""
    await _sealed(team)
    assert await team.fill(JON, "todo.decline", {"member": ""}) == {}
    page = next(text for text in team.told(F) if "Nobody has taken on “Title of p1” yet" in text)
    assert "Who could?" in page
    assert await team.fill(F, "todo.hand_over", {"member": INES}) == {}
    assert [text for text in team.told(INES) if "Would you see this done" in text]
    assert await team.fill(INES, "todo.decline", {"member": FD}) == {}
    await team.press(FD, "todo.accept")
    assert (await _fates(team))["r1-p1"].owner == FD
    assert not [text for text in team.told(F) if "Nobody has taken on" in text]


async def test_silence_reaches_the_facilitator(team: Team) -> None:
    """After a working day, and again a week later; the one who was asked can still accept."""
    await _sealed(team)
    found = await team.heard(F, "Nobody has taken on “Title of p1” yet", until=DAY + timedelta(hours=20))
    assert len(found) == 1 and "Jon was asked." in found[0]
    assert len(await team.heard(F, "Nobody has taken on “Title of p1” yet", until=9 * DAY)) == 1
    await team.press(JON, "todo.accept")
    assert (await _fates(team))["r1-p1"].owner == JON


async def test_who_leaves_owns_it_no_more(team: Team) -> None:
    """The facilitator is asked for somebody else."""
    await _sealed(team)
    await team.press(JON, "todo.accept")
    await team.house.room.leave(JON, CHANNEL)
    await team.settle()
    assert (await _fates(team))["r1-p1"].owner is None
    assert [text for text in team.told(F) if "Nobody has taken on “Title of p1” yet" in text]


async def test_who_is_away_when_it_falls_due_may_hand_it_over(team: Team) -> None:
    """As a trial's owner may; what falls due later is not spoken of."""
    await _sealed(team)
    await team.press(JON, "todo.accept")
    await team.command(JON, "away until 2026-03-23", channel=False)
    assert await team.fill(JON, "todo.hand_over", {"member": INES}) == {}
    await team.press(INES, "todo.accept")
    assert (await _fates(team))["r1-p1"].owner == INES


async def test_giving_up_needs_a_why(team: Team) -> None:
    """And ends it for good."""
    await _sealed(team)
    await team.press(JON, "todo.accept")
    await team.until(MONDAY + 2 * WEEK + DAY)
    assert "reason" in await team.fill(JON, "todo.drop", {"reason": " "})
    assert await team.fill(JON, "todo.drop", {"reason": "The page is gone."}) == {}
    fate = (await _fates(team))["r1-p1"]
    assert (fate.open, fate.reason) == (False, "The page is gone.")


async def test_nobody_else_says_that_it_is_done(team: Team) -> None:
    """Its owner and the facilitator alone; a value that was made up changes nothing."""
    await _sealed(team)
    await team.press(JON, "todo.accept")
    room = team.house.room
    for person in (INES, DD):
        await room.press(person, None, "todo.done", f"{CHANNEL}|r1-p1", forged=True)
    await room.press(JON, None, "todo.done", f"{CHANNEL}|r1-p9", forged=True)
    assert (await _fates(team))["r1-p1"].open
    await room.press(F, None, "todo.done", f"{CHANNEL}|r1-p1", forged=True)
    assert not (await _fates(team))["r1-p1"].open


async def test_forgetting_leaves_no_name_in_what_was_decided(team: Team) -> None:
    """What is open waits for somebody else, what is done says nobody."""
    await _sealed(team)
    await team.press(JON, "todo.accept")

    async def one_more(turn: Turn) -> None:
        settings = await turn.uow.team("room", CHANNEL)
        done = Fate("x", FateKind.ERRAND, "A done one", "r", MONDAY, owner=JON, done=MONDAY)
        await turn.uow.save_team(replace(settings, fates={**settings.fates, "x": done}))

    await team.house.engine.act("one more", one_more)
    await team.command(JON, "forget me", channel=False)
    found = await _fates(team)
    assert found["r1-p1"].owner is None
    assert str(JON) not in repr(found)
    assert found["x"].owner is not None


async def test_the_digest_has_it_until_it_is_done_and_says_when_it_is_late(team: Team) -> None:
    """Owner and date, late by a day, and once that it is done."""
    await _sealed(team)
    await team.press(JON, "todo.accept")

    assert "Title of p1: an errand, by" in await _digest(team) and "0 late" not in await _digest(team)
    assert "nothing late" in await _digest(team)
    await team.until(MONDAY + 2 * WEEK + 2 * DAY)
    assert ", Jon; late" in await _digest(team)
    await team.press(JON, "todo.done")
    done = await _digest(team)
    assert "Title of p1: an errand, done" in done and "; late" not in done.partition("Decided")[2]
    await team.until(MONDAY + 5 * WEEK)
    assert "Title of p1" not in await _digest(team)


async def test_what_one_owes_and_what_is_under_way_have_it(team: Team) -> None:
    """On one's own page once it is due, and in the list of what is under way at any time, with its buttons."""
    await _sealed(team)
    mine = (await team.command(JON, "mine", channel=False), team.told(JON)[-1])[1]
    assert "Title of p1: would you see it done" in mine
    await team.press(JON, "todo.accept")
    note = (await team.command(JON, "trials")).note
    assert note is not None and "“Title of p1”: an errand, by" in words(note)
    await team.press(JON, "todo.done")
    assert not (await _fates(team))["r1-p1"].open


async def test_the_next_round_begins_with_what_became_of_the_others(team: Team) -> None:
    """Read back with what was tried; dropped plans are no longer offered, kept ones are."""
    await _sealed(team)
    async with team.house.store.begin() as uow:
        story = await leftovers.story(uow, "room", CHANNEL)
        assert story is not None
        read = words(read_back(story))
        assert await leftovers.unused(uow, "room", CHANNEL) == []
    assert "What became of the other plans" in read
    assert "“Title of p1”: an errand, by" in read and "“Title of p2”: dropped. Nobody can build it." in read


# --- after a review -------------------------------------------------------------------------------------------------

SCALE = {"learning": "Calling works", "decision": "scale", "reason": "met", "what": "All new teams, from June"}


@pytest.fixture
async def reviewed(tmp_path: Path) -> AsyncIterator[Team]:
    """A trial of Jon's that is in review."""
    async with a_team(tmp_path, plans={"p0": JON}) as found:
        await found.weeks(4, at=timedelta(days=1, hours=2))
        yield found


async def test_what_scales_needs_an_owner_a_date_and_the_decision_makers_yes(reviewed: Team) -> None:
    """Asked of the decision-maker in private; until then its owner is not asked whether it is done."""
    team = reviewed
    wrong = await team.fill(JON, "trial.close", SCALE | {"owner": "", "date": ""})
    assert wrong == {"owner": "Say who sees it done, and until when."}
    assert not await team.fill(JON, "trial.close", SCALE | {"owner": JON, "date": "in 2 weeks"})
    fate = (await _fates(team))["r1-p0"]
    assert (fate.kind, fate.owner, fate.needs_yes) == (FateKind.SCALE, JON, True)
    closed = next(text for text in team.channel() if text.startswith("Reviewed: Title of p0"))
    assert (
        "What exactly: All new teams, from June" in closed
        and "Who sees it done: Jon, by" in closed
        and ", if Dora agrees" in closed
    )
    await team.until(team.clock.now() + DAY)
    assert [text for text in team.told(D) if "Do you agree, as the decision-maker?" in text]
    await team.press(D, "todo.agree")
    assert not (await _fates(team))["r1-p0"].needs_yes
    await team.until(team.clock.now() + 3 * WEEK)
    await team.press(JON, "todo.done")
    assert team.channel()[-1] == "“Title of p0” is scaled. Thank you, Jon."


async def test_the_decision_makers_no_ends_it_and_the_channel_reads_why(reviewed: Team) -> None:
    """Nobody else may say it."""
    team = reviewed
    await team.fill(JON, "trial.close", SCALE | {"owner": JON, "date": "in 2 weeks"})
    await team.until(team.clock.now() + DAY)
    await team.house.room.press(INES, None, "todo.agree", f"{CHANNEL}|r1-p0", forged=True)
    assert (await _fates(team))["r1-p0"].needs_yes
    assert not await team.fill(D, "todo.refuse", {"reason": "Too dear for what it brings."})
    assert not (await _fates(team))["r1-p0"].open
    assert team.channel()[-1] == "Dora doesn't want “Title of p0” scaled: Too dear for what it brings."


async def test_what_stops_says_what_is_switched_off_by_whom_and_until_when(reviewed: Team) -> None:
    """And is followed."""
    team = reviewed
    done = {"learning": "Nobody rang back", "decision": "stop", "reason": "no change"}
    off = {"what": "The reminder calls", "owner": INES}
    assert "date" in await team.fill(JON, "trial.close", done | off | {"date": "03/04"})
    assert not await team.fill(JON, "trial.close", done | off | {"date": "in 1 week"})
    fate = (await _fates(team))["r1-p0"]
    assert (fate.kind, fate.asked, fate.needs_yes) == (FateKind.SWITCH_OFF, INES, False)
    await team.until(team.clock.now() + DAY)
    assert any("to be switched off, by" in text and "The reminder calls" in text for text in team.told(INES))


async def test_a_stop_with_nothing_left_to_switch_off_asks_nobody(reviewed: Team) -> None:
    """And a change has to say what stays."""
    change = {"learning": "Nobody rang back", "decision": "change", "reason": "no change", "what": ""}
    wrong = await reviewed.fill(JON, "trial.close", change)
    assert wrong == {"what": "Say what stays as it is when it is tried in another way."}
    done = {"learning": "Nobody rang back", "decision": "stop", "reason": "no change"}
    assert not await reviewed.fill(JON, "trial.close", done | {"what": ""})
    assert not await _fates(reviewed)


async def test_what_the_team_exports_has_what_was_decided(team: Team) -> None:
    """Without anybody's name beside it."""
    await _sealed(team)
    async with team.house.store.begin() as uow:
        message = await erasing.exported(uow, "room", CHANNEL)
    text = next(f.text for f in message.attachments if isinstance(f, TextFile) and f.name == "team.json")
    (fate,) = json.loads(text)["to be done"]
    assert (fate["title"], fate["kind"], fate["where"]) == ("Title of p1", "errand", "the web team's board")
    assert {f["what"] for f in json.loads(text)["rounds"][0]["plans not tried"]} == {"errand", "dropped"}
