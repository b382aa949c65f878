"""A bot that was stopped in any step under its first release goes on under this one, as if it had not been changed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from tests.upgrade import earlier
from tests.upgrade.earlier import FIRST, Answer, Shown, Stop, Told

STOPS = sorted(path.name.removesuffix(".tar.xz") for path in FIRST.glob("*.tar.xz"))
STEPS = {"setup", "notes", "focus", "merge", "dots", "questions", "precedents", "plans", "ballot", "placement"}
told = cache(Told.read)
played = cache(earlier.scenario)


@dataclass(frozen=True)
class Left:
    """A stop's files, unpacked once; whoever changes something takes a copy."""

    stop: Stop
    files: Path

    def copy(self, to: Path) -> Path:
        shutil.copytree(self.files, to)
        return to


@pytest.fixture(scope="session")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Left]:
    @cache
    def left(name: str) -> Left:
        files = tmp_path_factory.mktemp(name)
        return Left(earlier.unpack(name, files), files)

    return left


@pytest.fixture(params=STOPS)
def left(request: pytest.FixtureRequest, unpacked: Callable[[str], Left]) -> Left:
    return unpacked(request.param)


def test_every_step_and_what_follows_is_there() -> None:
    """There are files of each step, of trials before and at their reviews, and of rounds that ended both ways."""
    assert set(STOPS) >= STEPS | {"commitment", "trial", "review", "ended", "cancelled"}


async def test_the_round_is_at_its_step(left: Left, tmp_path: Path) -> None:
    """The round is read back with its people, at the step at which the process ended."""
    async with earlier.opened(left.copy(tmp_path / "on"), left.stop.moment, played().seed) as house:
        async with house.store.begin() as uow:
            running = [head.id for head in await uow.heads("room", channel=earlier.CHANNEL)]
            ended = await uow.ended_rounds("room", earlier.CHANNEL)
            round_ = await uow.round([*running, *ended][-1])
    assert round_ is not None and round_.step.value == left.stop.step
    assert set(round_.seats) == {person.id for person in played().team}


async def test_it_goes_on_to_the_next_step(left: Left, tmp_path: Path) -> None:
    """Due rows and people bring the round on as the first release did: the same words, each once."""
    (expected,) = told().answers(left.stop.name, "conversation")
    assert await earlier.go_on(left.copy(tmp_path / "on"), left.stop, played()) == expected
    assert expected.kind == left.stop.next_step


async def test_it_comes_back_after_days(left: Left, tmp_path: Path) -> None:
    """Started days later, it gives the lost time back and says so, as the first release did."""
    (expected,) = told().answers(left.stop.name, "back")
    assert await earlier.come_back(left.copy(tmp_path / "on"), left.stop, played().seed) == expected


async def test_one_button_of_each_kind_is_answered(left: Left, tmp_path: Path) -> None:
    """A button that stood in the chats does what it did, or is refused in the same words: one of each action."""
    answers = told().answers(left.stop.name, "buttons")
    first = {(s.action, a.kind): n for n, (s, a) in reversed([*enumerate(zip(left.stop.buttons, answers, strict=True))])}
    await _pressed(left, tmp_path, sorted(first.values()))


@pytest.mark.slow
async def test_every_button_is_answered(left: Left, tmp_path: Path) -> None:
    """Each button that stood in the chats, pressed by each person who saw it, is answered as it was."""
    await _pressed(left, tmp_path, range(len(left.stop.buttons)))


async def _pressed(left: Left, tmp_path: Path, numbers: Sequence[int]) -> None:
    """What changes nothing is pressed on one copy; everything else has a copy of its own."""
    answers = told().answers(left.stop.name, "buttons")
    calm = [n for n in numbers if answers[n].kind != "changed"]
    wrong = await _differing(left, tmp_path / "calm", {left.stop.buttons[n]: answers[n] for n in calm})
    for n in (n for n in numbers if answers[n].kind == "changed"):
        wrong |= await _differing(left, tmp_path / str(n), {left.stop.buttons[n]: answers[n]})
    assert not wrong


async def test_forms_that_stood_open_are_taken(left: Left, tmp_path: Path) -> None:
    """A form that was opened before the process ended is taken, or refused beside its field, as it was."""
    answers = told().answers(left.stop.name, "sheets")
    wrong: dict[str, tuple[Answer, Answer]] = {}
    for n, (sheet, answer) in enumerate(zip(left.stop.sheets, answers, strict=True)):
        folder = left.copy(tmp_path / str(n))
        async with earlier.opened(folder, left.stop.moment, played().seed) as house:
            now = await earlier.send(house, folder, sheet)
            wrong |= {sheet.action: (now, answer)} if now != answer else {}
    assert not wrong


async def _differing(left: Left, folder: Path, pressed: dict[Shown, Answer]) -> dict[Shown, tuple[Answer, Answer]]:
    """Presses one after the other; what was answered otherwise than it was, with both answers."""
    left.copy(folder)
    async with earlier.opened(folder, left.stop.moment, played().seed) as house:
        now = {shown: await earlier.press(house, folder, shown) for shown in pressed}
    return {shown: (now[shown], answer) for shown, answer in pressed.items() if now[shown] != answer}
