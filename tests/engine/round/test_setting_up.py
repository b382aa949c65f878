"""What somebody types into the setup form: wrong texts are told at their field, and no lever is lost."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coldframe.domain.names import LeverId, Step
from coldframe.domain.round.moves import Cancel
from coldframe.domain.state import Round
from coldframe.engine.round.setup import read_levers
from coldframe.ports.chat import Reply
from tests.domain.play import DD, FD, D, F
from tests.engine.clockwork import Running, running

MONDAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
RIGHT = {
    "question": "Why do they go?",
    "name": "June",
    "levers": "Retention",
    "weight": "2",
    "decision_maker": D,
    "decision_deputy": DD,
    "facilitator_deputy": FD,
}


async def _sends(team: Running, fields: Mapping[str, str]) -> Reply:
    form = (await team.command(F, "new")).form
    assert form is not None
    reply = await team.house.room.submit(F, form.action, form.value, RIGHT | fields)
    await team.settle()
    return reply


async def _names(team: Running) -> list[str]:
    async with team.house.store.begin() as uow:
        return [head.name for head in await uow.heads("room", channel="growth")]


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("question", "Why do\x07 they go?", "control characters"),
        ("question", "\u200b", "nothing readable"),
        ("name", "\u200b", "nothing readable"),
    ],
)
async def test_a_wrong_text_is_told_at_its_field(tmp_path: Path, field: str, text: str, says: str) -> None:
    """No round is made of it, and the sentence says why."""
    async with running(tmp_path, MONDAY) as team:
        reply = await _sends(team, {field: text})
        assert list(reply.errors) == [field]
        assert says in reply.errors[field]
        assert await _names(team) == ["name of r1"]


NUMBER = "whole number from 1 to"
FORM = "number of working hours from 1 to 400, one a line or separated by commas, such as notes 16, plans 24"


@pytest.mark.parametrize("text", ["0", "-1", "99", "three", "2.5", "³"])
@pytest.mark.parametrize(("field", "most"), [("dots", 10), ("plan_votes", 5), ("weight", 10)])
async def test_a_wrong_number_is_told_at_its_field(tmp_path: Path, field: str, most: int, text: str) -> None:
    """The sentence names the range, and no round is made with another number instead."""
    async with running(tmp_path, MONDAY) as team:
        assert (await _sends(team, {field: text})).errors == {field: f"Write a {NUMBER} {most}."}
        assert await _names(team) == ["name of r1"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("notes x", f"“notes x” isn't a window with its length. Write its name and a {FORM}."),
        ("notes", "“notes” isn't a window"),
        ("16", "“16” isn't a window"),
        ("notes 16 plans 24", "“notes 16 plans 24” isn't a window"),
        ("notes 0", f"0 isn't possible for notes. Write its name and a {FORM}."),
        ("notes -1", "-1 isn't possible for notes"),
        ("notes 401", "401 isn't possible for notes"),
        ("plans 24, balot 9", "no window “balot”. Did you mean ballot?"),
        ("ntoes x", "no window “ntoes”. Did you mean notes?"),
        ("zzz 9", "no window “zzz”. The windows are notes, focus, merge, dots, questions, precedents, plans, reading,"),
        ("setup 9", "no window “setup”"),
        ("notes 9\nNotes 10", "“notes” stands there twice"),
        ("notes 30 min", "wrong unit: over days, windows are counted in working hours"),
    ],
)
async def test_a_wrong_window_is_told_at_its_field(tmp_path: Path, text: str, says: str) -> None:
    """What cannot be read is not guessed: the sentence says which piece, and the right form or the nearest name."""
    async with running(tmp_path, MONDAY) as team:
        reply = await _sends(team, {"windows": text})
        assert list(reply.errors) == ["windows"]
        assert says in reply.errors["windows"]
        assert await _names(team) == ["name of r1"]


async def test_all_wrong_fields_are_told_at_once(tmp_path: Path) -> None:
    """Nobody sends the form four times to learn of four mistakes."""
    async with running(tmp_path, MONDAY) as team:
        wrong = {"name": "\u200b", "dots": "0", "plan_votes": "6", "windows": "notes x"}
        assert set((await _sends(team, wrong)).errors) == set(wrong)


async def _made(team: Running, fields: Mapping[str, str]) -> Round:
    assert (await _sends(team, fields)).errors == {}
    async with team.house.store.begin() as uow:
        head = next(h for h in await uow.heads("room", channel="growth") if h.name == "June")
        found = await uow.round(head.id)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("text", "pace", "lengths", "reading"),
    [
        ("notes 16, plans 24", "days", {Step.NOTES: 16, Step.PLANS: 24}, None),
        ("Notes: 16 hours\nplan = 24h\n", "days", {Step.NOTES: 16, Step.PLANS: 24}, None),
        ("notes 2.5; reading 4 and ballot 10", "days", {Step.NOTES: 2.5, Step.BALLOT: 10}, 4),
        ("notes 2,5, reading 4,plans 24", "days", {Step.NOTES: 2.5, Step.PLANS: 24}, 4),
        ("notes 30 min, dots 4", "live", {Step.NOTES: 30, Step.DOTS: 4}, None),
        ("notes 8, reading 2", "days", {}, None),
        ("notes 20", "live", {}, None),
        ("  ", "days", {}, None),
    ],
)
async def test_windows_are_read_as_people_write_them(
    tmp_path: Path, text: str, pace: str, lengths: dict[Step, float], reading: float | None
) -> None:
    """One a line or separated, in the unit of the pace; what is usual anyway is no difference."""
    async with running(tmp_path, MONDAY) as team:
        settings = (await _made(team, {"windows": text, "pace": pace})).settings
        assert (settings.lengths, settings.reading) == (lengths, reading)


async def test_the_form_begins_with_the_usual_numbers(tmp_path: Path) -> None:
    """Three dots and two plan votes each, unless somebody writes another number."""
    async with running(tmp_path, MONDAY) as team:
        form = (await team.command(F, "new")).form
        assert form is not None
        initial = {f.name: f.initial for f in form.fields}
        assert (initial["dots"], initial["plan_votes"], initial["windows"]) == ("3", "2", "")
        settings = (await _made(team, {})).settings
        assert (settings.dots, settings.plan_votes) == (3, 2)


async def test_the_proposal_and_the_channel_say_what_was_chosen(tmp_path: Path) -> None:
    """Whoever starts the round, and everybody in it, read the numbers and windows that hold; the windows do hold."""
    async with running(tmp_path, MONDAY) as team:
        made = await _made(team, {"dots": "5", "plan_votes": "1", "windows": "notes 16, reading 4"})
        proposal = next(w for w in team.told(F) if "June is ready to start" in w)
        assert "Votes: 5 dots each on forces, 1 vote each on plans" in proposal
        assert "Time for each step: notes 16 h, reading 4 h; the others as usual" in proposal
        await team.press(F, "round.start", made.id)
        opened = next(w for w in team.channel() if "A new round starts" in w and "June" in w)
        assert "5 dots each on forces, 1 vote each on plans" in opened
        assert "Time for each step: notes 16 h, reading 4 h; the others as usual" in opened
        async with team.house.store.begin() as uow:
            begun = await uow.round(made.id)
        assert begun is not None
        assert begun.progress.due == datetime(2026, 3, 3, 17, tzinfo=UTC)  # two working days of eight hours


async def test_the_first_post_says_what_a_round_is_and_what_its_levers_mean(tmp_path: Path) -> None:
    """How long it takes of whose time, who chooses; the team's own definitions before the usual ones, and again in the
    next form."""
    async with running(tmp_path, MONDAY) as team:
        own = "retention: they order again within a month"
        made = await _made(team, {"levers": "Acquisition, Retention, Trust", "meanings": own})
        assert any("Retention: they order again within a month" in w for w in team.told(F))
        await team.press(F, "round.start", made.id)
        opened = next(w for w in team.channel() if "A new round starts" in w and "June" in w)
        assert (
            "What a round is" in opened and "takes each of you about 2 hours" in opened and "chooses from it" in opened
        )
        assert "Acquisition: how people first hear of us and come" in opened
        assert "Retention: they order again within a month" in opened
        async with team.house.store.begin() as uow:
            begun = await uow.round(made.id)
        assert begun is not None and list(begun.settings.meanings.values()) == ["they order again within a month"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("They order again", "no lever of this round"),
        ("Trust: they tell others", "“Trust” is no lever of this round"),
        (f"Retention: {'x' * 121}", "longer than 120 characters"),
    ],
)
async def test_a_meaning_that_cannot_be_taken_is_told_at_its_field(tmp_path: Path, text: str, says: str) -> None:
    async with running(tmp_path, MONDAY) as team:
        assert says in (await _sends(team, {"meanings": text})).errors["meanings"]


async def test_the_next_round_begins_with_the_numbers_and_windows_of_the_one_before(tmp_path: Path) -> None:
    """A form that comes back unchanged is taken, and makes the same settings again."""
    before = {"dots": 4, "plan_votes": 3, "lengths": {Step.NOTES: 16.0, Step.PLANS: 2.5}, "reading": 4.0}
    before |= {"meanings": {LeverId("retention"): "they order again"}}
    async with running(tmp_path, MONDAY, **before) as team:
        await team.act("end", Cancel(F, "We begin anew."))
        form = (await team.command(F, "new")).form
        assert form is not None
        initial = {f.name: f.initial for f in form.fields}
        assert (initial["dots"], initial["plan_votes"]) == ("4", "3")
        assert initial["windows"] == "notes 16 h, plans 2.5 h, reading 4 h"
        assert initial["meanings"] == "Retention: they order again"
        settings = (await _made(team, {n: initial[n] for n in ("dots", "plan_votes", "windows", "meanings")})).settings
        assert {name: getattr(settings, name) for name in before} == before
        reply = await _sends(team, {"pace": "live", "windows": initial["windows"]})
        assert "wrong unit: in one sitting, windows are counted in minutes" in reply.errors["windows"]


async def test_a_name_that_is_taken_gets_a_number(tmp_path: Path) -> None:
    """Two rounds of a channel are never called the same, signs of ids in a name included."""
    async with running(tmp_path, MONDAY) as team:
        for _ in range(2):
            assert (await _sends(team, {"name": "June | north/south"})).errors == {}
        assert sorted(await _names(team)) == ["June | north/south", "June | north/south 2", "name of r1"]


def test_every_lever_is_kept_once() -> None:
    """Names that differ only in letters outside ASCII are levers of their own; the same name twice is one."""
    assert [name for _, name in read_levers("Über, Äber, über, Привлечение, Удержание")] == [
        "Über",
        "Äber",
        "Привлечение",
        "Удержание",
    ]
    ids = [key for key, _ in read_levers("Über, Äber, Привлечение, Удержание")]
    assert len(set(ids)) == 4
    assert [key for key, _ in read_levers("Acquisition, Retention, retention")] == ["acquisition", "retention"]
