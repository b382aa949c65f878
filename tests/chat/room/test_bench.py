"""What lies beside the talk for each person, by the real bot: the bar, the step's sheets, what is read for them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any, cast

import pytest
import pytest_asyncio

from coldframe.chat.room.pacing import Pacer
from coldframe.chat.room.records import NotThere
from coldframe.cli.playing import ScenarioStage
from coldframe.clock import SystemClock
from coldframe.engine.reading import number_lines
from coldframe.players.hand import Hand, Screen
from coldframe.players.scenario import load
from coldframe.ports.bench import View
from tests.chat.room.test_whole_round import QUESTION, GreyPen

TEAM = Path(__file__).with_name("small_team.yaml")
NOBODY = ""


class Team:
    """The four of them, and what lies before each."""

    def __init__(self, stage: ScenarioStage) -> None:
        self.stage = stage
        self.pacer = Pacer(stage, SystemClock())

    @property
    def room(self) -> Any:
        return self.stage.house.room

    async def begin(self) -> None:
        await self.pacer.settled()
        reply = await self.room.command("ada", self.room.channel("growth"), "new")
        fields = {"question": QUESTION, "name": "Frames", "decision_maker": "ben"}
        fields |= {"decision_deputy": "dee", "facilitator_deputy": "cas"}
        await self.room.submit("ada", reply.form.action, reply.form.value, fields)
        await self.stage.settle()

    async def start(self) -> None:
        await Hand(self.room, "ada", Screen(self.room)).press("round.start")
        await self.stage.settle()

    async def play_to(self, step: str) -> None:
        for _ in range(20):
            round_ = await self.stage.round()
            assert round_ is not None
            if round_.step.value == step:
                return
            await self.pacer.others(round_.step.value, NOBODY)
            after = await self.stage.round()
            if after is not None and after.step == round_.step:
                await self.pacer.jump()
        raise AssertionError(f"never came to {step}")

    async def laid(self, person: str) -> Any:
        return await self.room.bench.lay(person)

    async def bar(self, person: str) -> Any:
        return (await self.laid(person))["bars"][0]

    async def press(self, person: str, laid: Any, action: str) -> Any:
        """The first button of the sheet that does this."""
        buttons = [b for block in laid["card"]["blocks"] if block["kind"] == "buttons" for b in block["buttons"]]
        button = next(b for b in buttons if b["action"] == action)
        reply = await self.room.press(person, laid["message"], action, button["value"])
        await self.stage.settle()
        return reply

    async def write(self, person: str, sheet: Any, text: str) -> None:
        form = (await self.press(person, sheet, "note.write")).form
        reply = await self.room.submit(person, form.action, form.value, {"side": "restraining", "text": text})
        assert not reply.errors
        await self.stage.settle()


@pytest_asyncio.fixture
async def team(tmp_path: Path) -> AsyncIterator[Team]:
    stage = ScenarioStage(load(TEAM.read_text(encoding="utf-8")), tmp_path, GreyPen())
    await stage.open()
    team = Team(stage)
    await team.begin()
    yield team
    await stage.close()


def words(line: Any) -> str:
    return "".join(part.get("text") or part.get("name") or "" for part in line)


def kinds(laid: Any) -> list[str]:
    return [one["what"] for one in laid]


async def test_bar_says_where_the_round_is_and_leads_its_facilitator_alone(team: Team) -> None:
    """Step, name, deadline and number are everybody's; who is awaited and what closes the step the facilitator's."""
    await team.start()
    ada, ben = await team.bar("ada"), await team.bar("ben")
    for bar in (ada, ben):
        assert words(bar["head"]) == "Frames, step 1 of 10: Notes"
        assert words(bar["state"]) == "none of 4 are in yet"
        assert bar["until"] is not None and words(bar["aim"]).startswith("Everybody writes me notes")
    actions = [b["action"] for block in ada["leads"] if block["kind"] == "buttons" for b in block["buttons"]]
    assert {"step.close", "step.extend"} <= set(actions)
    assert ben["leads"] == []


async def test_bar_does_not_move_at_the_act_of_one_person(team: Team) -> None:
    """The number on it moves in batches, as everywhere."""
    await team.start()
    sheet = (await team.bar("cas"))["before"][0]
    await team.press("cas", sheet, "step.done")
    for person in ("ada", "ben", "cas"):
        assert words((await team.bar(person))["state"]) == "none of 4 are in yet"


async def test_sheet_lies_there_whole_and_as_it_reads_now(team: Team) -> None:
    """Twenty notes stand on one sheet with their buttons, though the message in the talk is cut into pages."""
    await team.start()
    sheet = (await team.bar("cas"))["before"][0]
    for n in range(20):
        await team.write("cas", sheet, f"Reason {n} why vents stay shut")
    laid = (await team.bar("cas"))["before"][0]
    edits = [b for block in laid["card"]["blocks"] if block["kind"] == "buttons" for b in block["buttons"]]
    assert sum(b["action"] == "note.edit" for b in edits) == 20
    assert not any(b["action"] == "note.page" for b in edits)
    posted = team.room.message(laid["message"]).message
    assert sum(b.action == "note.edit" for block in posted.blocks for b in getattr(block, "buttons", ())) < 20
    last = [b for b in edits if b["action"] == "note.withdraw"][-1]
    await team.room.press("cas", laid["message"], "note.withdraw", last["value"])  # stands on no page of the talk
    await team.stage.settle()
    assert "Reason 19" not in str((await team.bar("cas"))["before"][0])


async def test_sheet_can_be_pressed_as_it_lay_there_before_its_message_came(team: Team) -> None:
    """A page that was drawn before the ask came finds its buttons, which are the message's by then."""
    await team.start()
    sheet = (await team.bar("cas"))["before"][0]
    assert sheet["message"] is None
    await team.write("cas", sheet, "Vents stay shut")  # the ask comes with the act
    assert (await team.bar("cas"))["before"][0]["message"] is not None
    await team.press("cas", sheet, "step.done")
    after = (await team.bar("cas"))["before"][0]
    assert "I'm not done" in str(after["card"])


async def test_several_tabs_of_one_person_are_told_by_one_look(team: Team) -> None:
    """What moved is looked up once for all of them, and anew when it moved again; others' browsers have their own."""
    await team.start()
    bench, views, seen = team.room.bench, team.room.bench.views, []

    class Counted:
        async def view(self, tenant: str, person: str) -> View:
            seen.append(person)
            await asyncio.sleep(0)
            return cast(View, await views.view(tenant, person))

    bench.views = Counted()
    one, other, ben = await asyncio.gather(bench.lay("cas"), bench.lay("cas"), bench.lay("ben"))
    assert seen == ["cas", "ben"] and one == other != ben
    gone = asyncio.ensure_future(bench.lay("cas"))
    await asyncio.sleep(0)
    stays = asyncio.ensure_future(bench.lay("cas"))
    gone.cancel()
    assert await stays == one and seen == ["cas", "ben", "cas"]
    await team.write("cas", one["bars"][0]["before"][0], "Vents stay shut")
    assert "Vents stay shut" in str(await bench.lay("cas"))


async def test_what_lies_before_one_person_cannot_be_pressed_by_another(team: Team) -> None:
    """The bench of somebody else offers nothing."""
    await team.start()
    await team.write("cas", (await team.bar("cas"))["before"][0], "Vents stay shut")
    sheet = (await team.bar("cas"))["before"][0]
    await team.bar("ben")
    buttons = [b for block in sheet["card"]["blocks"] if block["kind"] == "buttons" for b in block["buttons"]]
    value = next(b["value"] for b in buttons if b["action"] == "note.edit")
    for message in (sheet["message"], None):
        with pytest.raises(NotThere):
            await team.room.press("ben", message, "note.edit", value)


async def test_what_one_person_decides_lies_before_them_whatever_the_hour(tmp_path: Path) -> None:
    """The message waits for their morning; whoever looks at their bench is there, and can pick at once."""
    scenario = load(TEAM.read_text(encoding="utf-8"))
    night = scenario.model_copy(update={"start": scenario.start.replace(hour=21)})  # half past two for Ben
    stage = ScenarioStage(night, tmp_path, GreyPen())
    await stage.open()
    team = Team(stage)
    await team.begin()
    await team.start()
    await team.play_to("focus")
    bar = await team.bar("ben")
    assert (bar["step"], bar["before"][0]["what"], bar["before"][0]["message"]) == ("focus", "ask", None)
    assert (await team.press("ben", bar["before"][0], "focus.pick")).form is not None
    assert "ask" not in kinds((await team.bar("cas"))["before"])
    await stage.close()


async def test_new_link_shows_nothing_of_what_was_given_in_private(team: Team) -> None:
    """Whoever came by a renewed link sees where the round is, and neither sheet nor page of the seat's person."""
    await team.start()
    await team.write("cas", (await team.bar("cas"))["before"][0], "Vents stay shut")
    laid = await team.room.bench.lay("cas", private=False)
    assert words(laid["bars"][0]["head"]).endswith("Notes") and laid["page"] is None
    assert kinds(laid["bars"][0]["before"]) == ["card"]
    assert "Vents" not in str(laid)


async def test_question_to_few_writers_lies_before_those_who_wrote(team: Team) -> None:
    """Who wrote is nobody's to know: in the others' place something waits that never goes out, and is not shown."""
    await team.start()
    for person in ("cas", "dee"):
        await team.write(person, (await team.bar(person))["before"][0], f"{person} knows why")
    for person in ("ada", "ben", "cas", "dee"):
        await team.press(person, (await team.bar(person))["before"][0], "step.done")
    for _ in range(3):
        if "consent" in kinds((await team.bar("cas"))["before"]):
            break
        await team.pacer.jump()
    assert "consent" in kinds((await team.bar("cas"))["before"])
    for person in ("ada", "ben"):
        assert "consent" not in kinds((await team.bar(person))["before"])


async def test_each_step_lays_its_own(team: Team) -> None:
    """From the wall of both directions to the plans beside the ballot; and nothing of a step that is over."""
    await team.start()
    await team.play_to("focus")
    ben = await team.bar("ben")
    assert kinds(ben["before"])[0] == "ask" and kinds(ben["beside"]) == ["lever"] * 3
    await team.play_to("dots")
    cas = await team.bar("cas")
    assert kinds(cas["before"]) == ["ballot", "card"] and kinds(cas["beside"]) == ["lever"]
    await team.play_to("plans")
    assert set(kinds((await team.bar("cas"))["beside"])) == {"question", "precedent"}
    await team.play_to("ballot")
    assert kinds((await team.bar("cas"))["beside"]) == ["plan", "plan"]
    await team.play_to("commitment")
    ada = await team.bar("ada")
    assert "card" in kinds(ada["before"]) and "result" in kinds(ada["beside"])
    assert (await team.laid("ada"))["page"]["blocks"]


async def test_setup_lies_before_the_facilitator_and_nobody_else_hears(team: Team) -> None:
    """Of a round that is only being set up the others see nothing at all."""
    ada = await team.bar("ada")
    assert kinds(ada["before"]) == ["setup"] and ada["number"] == 0
    assert words(ada["state"]) == "" and words(ada["aim"]).startswith("Look it over, then start it.")
    assert any(
        b["action"] == "round.start" for block in ada["leads"] if block["kind"] == "buttons" for b in block["buttons"]
    )
    assert ada["state"] == [] and (await team.laid("ben"))["bars"] == []


async def test_trial_lies_before_its_owner_from_being_built_to_its_weeks(team: Team) -> None:
    """Nobody else has it before them; once it is live, its weeks can be logged."""
    await team.start()
    await team.play_to("commitment")
    for _ in range(12):
        if await team.stage.round() is None:
            break
        await team.pacer.others("commitment", NOBODY)
        if await team.stage.round() is not None:
            await team.pacer.jump()
    owner = "ben"
    laid = (await team.laid(owner))["trials"]
    assert len(laid) == 1 and "trial.log" not in str(laid[0]["card"])
    form = (await team.press(owner, {**laid[0], "message": None}, "trial.live_since")).form
    today = team.stage.clock.now().date().isoformat()
    reply = await team.room.submit(owner, form.action, form.value, {form.fields[0].name: today})
    assert not reply.errors
    await team.stage.settle()
    card = (await team.laid(owner))["trials"][0]
    assert "trial.log" in str(card["card"])
    assert number_lines.read_line(card["example"], "split").control  # as the page asks for a week in one line
    assert (await team.laid("cas"))["trials"] == []
