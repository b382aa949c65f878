"""What people typed is kept as they mean it now, or handed back to them: changed messages, forms that come too late."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import MemberId, Side, Step
from coldframe.message.nodes import Quoted
from tests.domain.play import F
from tests.engine.clockwork import Running, running
from tests.engine.reaching import at_step, reach, told

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
JON = MemberId("jon")


async def _says(team: Running, text: str) -> str:
    said = await team.house.room.say(JON, team.house.room.direct(JON), text)
    await team.settle()
    return said


async def _changes(team: Running, message: str, text: str) -> None:
    await team.house.room.edit(JON, message, text)
    await team.settle()


async def _notes(team: Running) -> set[tuple[str, Side, str]]:
    return {(n.lever, n.side, n.text) for n in (await team.current()).notes.values()}


async def _drafts(team: Running) -> list[str]:
    return [d.text for d in (await team.current()).drafts.values()]


async def test_changing_a_message_that_was_unclear_changes_what_is_asked_about(tmp_path: Path) -> None:
    """The newest text waits for its place; the older one is gone."""
    async with running(tmp_path, MONDAY) as team:
        said = await _says(team, "The bill surprises people")
        await _changes(team, said, "The bill surprises new people")
        assert await _drafts(team) == ["The bill surprises new people"]
        await team.press(
            JON, "draft.place", f"r1|{next(iter((await team.current()).drafts))}|retention|restraining|one"
        )
        assert await _notes(team) == {("retention", Side.RESTRAINING, "The bill surprises new people")}


async def test_erasing_a_message_that_was_unclear_drops_it(tmp_path: Path) -> None:
    """A deleted text is withdrawn wherever it waited, and its writer is told."""
    async with running(tmp_path, MONDAY) as team:
        said = await _says(team, "The bill surprises people")
        await team.house.room.erase(JON, said)
        assert await _drafts(team) == []
        await team.settle()
        assert "withdrawn" in told(team, JON)[-1]


@pytest.mark.parametrize(
    ("first", "then", "kept"),
    [
        ("- retention: The bill", "+ retention: The bill", {("retention", Side.DRIVING, "The bill")}),
        ("- retention: The bill", "- activation: The bill", {("activation", Side.RESTRAINING, "The bill")}),
        ("- retention: The bill", "The bill, again", {("retention", Side.RESTRAINING, "The bill, again")}),
        (
            "- retention: One\n+ activation: Two",
            "- retention: One\n+ activation: Two and more",
            {("retention", Side.RESTRAINING, "One"), ("activation", Side.DRIVING, "Two and more")},
        ),
    ],
    ids=["direction", "lever", "text alone", "one of two"],
)
async def test_a_changed_message_is_read_as_it_stands_now(
    tmp_path: Path, first: str, then: str, kept: set[tuple[str, Side, str]]
) -> None:
    """Direction and lever follow the newest text; what it leaves open stays as it was."""
    async with running(tmp_path, MONDAY) as team:
        await _changes(team, await _says(team, first), then)
        assert await _notes(team) == kept


async def test_a_changed_message_guesses_no_direction(tmp_path: Path) -> None:
    """A piece without a lever of its own is asked about when the others do not agree on one."""
    async with running(tmp_path, MONDAY) as team:
        said = await _says(team, "- retention: One\n+ activation: Two")
        await _changes(team, said, "- retention: One\n+ Two")
        assert await _notes(team) == {("retention", Side.RESTRAINING, "One")}
        assert await _drafts(team) == ["Two"]


PLAN = {"question": "q1", "kind": "split", "weeks": "4", "title": "Ring new teams", "measure": "share that comes back"}


async def test_a_plan_that_comes_after_the_close_is_handed_back_whole(tmp_path: Path) -> None:
    """Its writer gets every text of the page back in private, with the reason, however long it is."""
    async with at_step(tmp_path, MONDAY, Step.PLANS) as team:
        form = (await team.press(F, "plan.write")).form
        assert form is not None
        await reach(team, Step.BALLOT)
        why = "Because " + "somebody answers. " * 50
        fields = PLAN | {"hypothesis": why, "steps": "a step\n" * 280, "might_fail": "We are too slow."}
        first = {name: text for name, text in fields.items() if name in {field.name for field in form.fields}}
        reply = await team.house.room.submit(F, form.action, form.value, first)
        await team.settle()
        assert reply.errors == {}
        card = [r.message for r in team.house.room.messages(team.house.room.direct(F)) if r.by_bot][-1]
        assert card is not None
        back = "".join(b.text for b in card.blocks if isinstance(b, Quoted))
        assert "is over: the plans stand in the channel" in told(team, F)[-1]
        for text in ("Ring new teams", why.strip(), "We are too slow."):
            assert text in back
        assert back.count("a step") == 280


@pytest.mark.parametrize(
    ("text", "asked"),
    [("One\nTwo", True), ("The bill " + "is long and dull " * 8, True), ("The bill is long and dull", False)],
    ids=["two lines", "over 25 words with and", "short"],
)
async def test_a_note_of_two_ideas_gets_one_offer_to_split_it(tmp_path: Path, text: str, asked: bool) -> None:
    """It is kept as it stands; beside it on its writer's sheet stands how to make two of it."""
    async with running(tmp_path, MONDAY) as team:
        await _says(team, f"- retention: {text}")
        assert (("retention", Side.RESTRAINING, text.strip()) in await _notes(team)) is True
        assert len([w for w in team.told(JON) if "More than one idea?" in w]) == int(asked)
