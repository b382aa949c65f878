"""Pages in two short forms, and what is begun: nothing that somebody typed goes with a form."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from coldframe.message.nodes import plain
from coldframe.ports.chat import Inbound, Pressed
from coldframe.ports.keys import Covers
from tests.domain.play import F
from tests.engine.clockwork import Running
from tests.engine.reaching import at_step, reach

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON, INES = "jon", "ines"
IDEA = {"question": "q1", "title": "Ring new teams", "hypothesis": "If we ring, they stay", "steps": "Write a list"}
MEASURE = {"measure": "share that stays", "kind": "split", "weeks": "4"}


async def opened(team: Running, person: str, action: str) -> dict[str, str]:
    form = (await team.press(person, action)).form
    assert form is not None
    return {field.name: field.initial for field in form.fields}


async def sends(team: Running, person: str, **fields: str) -> object:
    reply = await team.house.room.submit(person, "plan.write", about_round(team, person), fields)
    await team.settle()
    return reply


def about_round(team: Running, person: str) -> str:
    return next(b.value for _, b in [team.button(person, "plan.write")])


async def test_a_plan_is_asked_for_in_two_short_forms(tmp_path: Path) -> None:
    """What is to be tried, then how it is measured; the first is kept when it is sent, and the second hands in."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        first = await opened(team, JON, "plan.write")
        assert set(first) <= {"question", "title", "hypothesis", "borrows", "steps", "might_fail"}
        reply = await sends(team, JON, **IDEA)
        assert {"measure", "weeks"} <= {field.name for field in reply.form.fields} and len(reply.form.fields) <= 11
        assert not (await team.current()).plans or all(p.author != JON for p in (await team.current()).plans.values())
        assert any("Begun and not handed in: “Ring new teams”" in words for words in team.told(JON))
        await team.house.room.submit(JON, reply.form.action, reply.form.value, MEASURE)
        await team.settle()
        (plan,) = [p for p in (await team.current()).plans.values() if p.author == JON]
        assert (plan.title, plan.criterion.measure) == ("Ring new teams", "share that stays")
        assert (await team.current()).begun == {}
        assert not any("Begun and not handed in" in words for words in team.told(JON)[-1:])


async def test_what_a_form_refused_is_there_again(tmp_path: Path) -> None:
    """Put away after a refusal, opened again: the words of both forms stand in them."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await opened(team, JON, "plan.write")
        reply = await sends(team, JON, **IDEA)
        wrong = await team.house.room.submit(JON, "plan.write", reply.form.value, {**MEASURE, "baseline": "1.200"})
        assert list(wrong.errors) == ["baseline"]
        await team.settle()
        assert (await opened(team, JON, "plan.write"))["hypothesis"] == IDEA["hypothesis"]
        again = await sends(team, JON)
        assert {f.name: f.initial for f in again.form.fields}["measure"] == MEASURE["measure"]
        assert {f.name: f.initial for f in again.form.fields}["baseline"] == "1.200"


async def test_what_is_wrong_in_the_first_form_shows_there(tmp_path: Path) -> None:
    """With the second one open its fields are gone; the first comes back with the sentence and every word."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await opened(team, JON, "plan.write")
        many = "\n".join(f"step {number}" for number in range(13))
        reply = await sends(team, JON, **{**IDEA, "steps": many})
        again = await team.house.room.submit(JON, "plan.write", reply.form.value, MEASURE)
        assert again.form is not None and "12" in plain(again.form.intro)
        assert {f.name: f.initial for f in again.form.fields}["steps"] == many


async def test_a_begun_page_is_sealed_exported_forgotten_and_handed_back(tmp_path: Path) -> None:
    """Nobody else reads it; its key goes with the plans' reveal, and its writer gets the words back."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await opened(team, JON, "plan.write")
        await sends(team, JON, **{**IDEA, "hypothesis": "mulberry mulberry"})
        for file in tmp_path.glob("*.db*"):
            assert b"mulberry" not in file.read_bytes()
        assert Covers.JOTTINGS in {use.covers for use in await team.house.store.keys.uses()}
        await team.command(JON, "export", channel=False)
        room = team.house.room
        files = [room.log.file(f.id) for r in room.log.messages(room.direct(JON)) for f in r.files]
        assert any(b"mulberry" in found[2] for found in files if found is not None)
        await reach(team, Step.BALLOT)
        assert (await team.current()).begun == {}
        assert Covers.JOTTINGS not in {use.covers for use in await team.house.store.keys.uses()}
        await team.until(team.clock.now() + timedelta(days=1))
        assert any("had begun a plan and not handed it in" in words for words in team.told(JON))
        assert not any("mulberry" in words for words in team.channel() + team.told(F) + team.told(INES))


async def test_forget_takes_what_is_begun_along(tmp_path: Path) -> None:
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await opened(team, JON, "plan.write")
        await sends(team, JON, **IDEA)
        await team.command(JON, "forget me", channel=False)
        assert (await team.current()).begun == {}


async def test_it_can_be_thrown_away(tmp_path: Path) -> None:
    """By its writer alone."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await opened(team, JON, "plan.write")
        await sends(team, JON, **IDEA)
        _, button = team.button(JON, "page.drop")
        stolen = Inbound("stolen", INES, team.house.room.direct(INES), MONDAY, Pressed("page.drop", button.value))
        await team.house.engine.receive(stolen)
        assert len((await team.current()).begun) == 1
        await team.press(JON, "page.drop")
        assert (await team.current()).begun == {}
        assert (await opened(team, JON, "plan.write"))["title"] == ""


PLAN = "Ring each new team\nIf we ring them in their first week, more of them stay\n- write a list\n- ring ten"
PRECEDENT = (
    "A library rang its readers\nIt called whoever had not come for a month\nTwo in five came back\nhttps://a.test/b"
)


@pytest.mark.parametrize(
    ("step", "text", "action", "fields"),
    [
        (Step.PLANS, PLAN, "plan.write", {"title": "Ring each new team", "steps": "write a list\nring ten"}),
        (
            Step.PRECEDENTS, PRECEDENT, "precedent.write",
            {"title": "A library rang its readers", "source": "https://a.test/b"},
        ),
    ],
    ids=["plan", "precedent"],
)  # fmt: skip
async def test_a_page_that_comes_as_text_is_a_draft(
    tmp_path: Path, step: Step, text: str, action: str, fields: dict[str, str]
) -> None:
    """With the button to go on; every line of it stands in some field."""
    async with at_step(tmp_path, MONDAY, step) as team:
        await team.say(JON, text)
        assert any("I've put your text into a draft" in words for words in team.told(JON))
        found = await opened(team, JON, action)
        assert {name: found[name] for name in fields} == fields
        assert all(line.strip("- ") in "\n".join(found.values()) for line in text.splitlines())
        assert (await team.current()).plans == {} or step is Step.PLANS


async def test_more_text_goes_behind_what_is_there(tmp_path: Path) -> None:
    """And what no field holds is refused whole, with where it still stands."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.say(JON, PLAN)
        await team.say(JON, "They told us so in nine of ten talks")
        found = await opened(team, JON, "plan.write")
        assert "nine of ten talks" in found["hypothesis"] + found["steps"]
        await team.say(JON, "and on " * 500)
        assert "too long for one plan" in team.told(JON)[-1]
        assert await opened(team, JON, "plan.write") == found


async def test_a_word_or_two_is_no_page(tmp_path: Path) -> None:
    """Thanks are no plan."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        await team.say(JON, "thanks a lot")
        assert "takes no text" in team.told(JON)[-1] and (await team.current()).begun == {}
