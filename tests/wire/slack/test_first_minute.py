"""The first minute with the bot: a form opens at once however large the workspace, and the setup can be put right."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from coldframe.domain.names import Step
from coldframe.message.nodes import Button, Buttons, Field, Form, Message, line
from coldframe.ports.chat import Reply
from coldframe.speech import surface
from tests.wire.slack.people import CHANNEL, Someone
from tests.wire.slack.service import ListIntake, running
from tests.wire.slack.whole_round import Team, at_work
from tests.wire.slack.workspace import Workspace

MODES = pytest.mark.parametrize("mode", ["socket", "http"])
CARD = Message(
    line("What helps?"),
    (Buttons((Button("Write …", "note.write", "k"), Button("I'm done", "step.done", "k"))),),
)
FORM = Form("A note", "note.write", "k", (Field("text", "Your note", "long"),))
SLOW = 1.2  # seconds: beyond those after which words open, and a commit is still waited for


def title(someone: Someone) -> str:
    view = someone.view()
    return "" if view is None else str(view["title"]["text"])


async def test_a_large_workspace_gets_the_form_at_the_first_try(tmp_path: Path) -> None:
    """77 people of 4,000, 150 ms a call: words open at once, and the form with everybody in it follows into them."""
    async with at_work(tmp_path) as there:
        starter = there.people[there.scenario.roles.facilitator]
        for number in range(4_000):
            there.workspace.add_person(f"U9{number:04}", f"Person {number}", "Europe/Berlin")
        channel = there.workspace.channels[CHANNEL]
        channel.members += [f"U9{number:04}" for number in range(0, 69 * 57, 57)]
        there.workspace.faults.delay = 0.15
        answer = await starter.commands("new", CHANNEL)
        assert answer.ok and answer.seconds < 2 and answer.body == {}
        assert title(starter) == surface.LOADING_TITLE
        view = await starter.sees(lambda: title(starter) == "Start a round" and starter.form())
        chosen = next(b["element"] for b in view["blocks"] if b.get("block_id") == "decision_maker")
        assert len(chosen["options"]) == 77
        assert there.workspace.complaints == []
        there.workspace.faults.delay = 0


@MODES
@pytest.mark.parametrize("opened_by", ["press", "command"])
async def test_a_form_that_takes_long_opens_with_words_and_fills(
    workspace: Workspace, people: dict[str, Someone], mode: Any, opened_by: str
) -> None:
    """It can be sent like any other."""
    intake, ana = ListIntake(lambda _: Reply(form=FORM), pause=SLOW), people["Ana"]
    async with running(workspace, intake, mode) as platform:
        await platform.chat.post(ana.place, CARD, key="k")
        acted = ana.press(ana.inbox()[0], "Write …") if opened_by == "press" else ana.commands("new")
        answer = await acted
        assert answer.ok and title(ana) == surface.LOADING_TITLE
        await ana.sees(lambda: title(ana) == "A note")
        intake.reply, intake.pause = (lambda _: Reply()), 0.0
        assert (await ana.sends(text="that is all")).ok and ana.form() is None
    assert workspace.complaints == []


@pytest.mark.parametrize("reply", ["a word", "nothing", "a failure"])
async def test_what_comes_instead_of_the_form_stands_in_its_place(
    workspace: Workspace, people: dict[str, Someone], reply: str
) -> None:
    """A refusal, an answer elsewhere, or a failure: nobody looks at words that promise a form for ever."""
    ana, note = people["Ana"], Message(line("Only its facilitator may."))
    intake = ListIntake(lambda _: Reply(note=note) if reply == "a word" else Reply(), pause=SLOW)
    intake.fails_late = reply == "a failure"
    async with running(workspace, intake) as platform:
        await platform.chat.post(ana.place, CARD, key="k")
        pressed = asyncio.ensure_future(ana.press(ana.inbox()[0], "Write …"))
        await ana.sees(lambda: title(ana) == surface.LOADING_TITLE)
        assert (await pressed).ok
        says = {
            "a word": "Only its facilitator may.",
            "nothing": "nothing to fill in",
            "a failure": "couldn't be taken in",
        }
        await ana.sees(lambda: says[reply] in str(ana.view()))
        assert ana.notes() == []


async def test_words_closed_meanwhile_are_no_trouble(workspace: Workspace, people: dict[str, Someone]) -> None:
    """Whoever closes them sees no form, and no error either."""
    intake, ana = ListIntake(lambda _: Reply(form=FORM), pause=SLOW), people["Ana"]
    async with running(workspace, intake):
        assert (await ana.commands("new")).ok
        workspace.views.clear()
        await asyncio.sleep(SLOW)
        await workspace.delivery.settled()
    assert workspace.views == {} and ana.notes() == []


async def test_a_button_without_a_form_opens_nothing(workspace: Workspace, people: dict[str, Someone]) -> None:
    """However long it takes: the sign on the label says what opens one."""
    intake, ana = ListIntake(lambda _: Reply(), pause=SLOW), people["Ana"]
    async with running(workspace, intake) as platform:
        await platform.chat.post(ana.place, CARD, key="k")
        assert (await ana.press(ana.inbox()[0], "I'm done")).ok
    assert [method for method, _ in workspace.calls if method.startswith("views.")] == []


async def test_the_setup_is_changed_after_the_preview_and_final_once_started(tmp_path: Path) -> None:
    """The same form with what was set; the preview is brought up to date in its place, and without buttons at last."""
    async with at_work(tmp_path) as there:
        await there.propose()
        starter = there.people[there.scenario.roles.facilitator]
        seen, button = there._offers(there.scenario.roles.facilitator, "round.change")[-1]
        await there.screen.press(there.scenario.roles.facilitator, seen.id, "round.change", button.value)
        view = await starter.sees(starter.form)
        kept = {b["block_id"]: b["element"].get("initial_value") for b in view["blocks"] if b["type"] == "input"}
        assert kept["name"] == (await there.round()).name and kept["dots"] == str((await there.round()).settings.dots)
        assert (await starter.sends(dots="7", text="Why do they leave?")).ok
        await there.settle()
        assert (await there.round()).settings.dots == 7
        assert "Why do they leave?" in preview(there) and "7 dots" in preview(there)
        await there.press_start()
        assert (await there.round()).step is Step.NOTES
        assert "round.start" not in preview(there) and "round.change" not in preview(there)


def preview(there: Team) -> str:
    seen = [str(m["blocks"]) for m in there.people[there.scenario.roles.facilitator].inbox() if m.get("blocks")]
    return next(text for text in seen if "start" in text)
