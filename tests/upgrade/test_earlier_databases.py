"""A bot that was stopped in any step under its first release goes on under this one, as if it had not been changed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from coldframe.domain.names import Step
from tests.upgrade import earlier
from tests.upgrade.earlier import Answer, Stop, Told

told = cache(Told.read)
played = cache(earlier.scenario)
STOPS = tuple(told().stops)
STEPS = {step.value for step in Step}


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
    assert set(STOPS) >= STEPS - {"committed"} | {"trial", "review", "ended"}


async def test_the_round_is_at_its_step(left: Left, tmp_path: Path) -> None:
    """The round is read back with its people, at the step at which the process ended."""
    folder = left.copy(tmp_path / "on")
    async with earlier.opened(folder, left.stop.moment) as house, house.store.begin() as uow:
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
    assert await earlier.come_back(left.copy(tmp_path / "on"), left.stop) == expected


async def test_one_button_of_each_kind_is_answered(left: Left, tmp_path: Path) -> None:
    """A button that stood in the chats does what it did, or is refused in the same words."""
    await _pressed(left, tmp_path, told().one_of_each("buttons")[left.stop.name])


@pytest.mark.slow
async def test_every_button_is_answered(left: Left, tmp_path: Path) -> None:
    """Each button that stood in the chats, pressed by each person who saw it, is answered as it was."""
    await _pressed(left, tmp_path, range(len(left.stop.buttons)))


async def test_one_open_form_of_each_kind_is_taken(left: Left, tmp_path: Path) -> None:
    """A form that was opened before the process ended is taken, or refused beside its field, as it was."""
    await _sent(left, tmp_path, told().one_of_each("sheets")[left.stop.name])


@pytest.mark.slow
async def test_every_open_form_is_taken(left: Left, tmp_path: Path) -> None:
    """Each form that stood open is answered as it was."""
    await _sent(left, tmp_path, range(len(left.stop.sheets)))


async def _pressed(left: Left, tmp_path: Path, numbers: Sequence[int]) -> None:
    answers = told().answers(left.stop.name, "buttons")
    now = await earlier.pressed(left.files, left.stop, numbers, [a.kind for a in answers], tmp_path)
    assert _by_act(left.stop.buttons, numbers, now) == _by_act(
        left.stop.buttons, numbers, [answers[n] for n in numbers]
    )


async def _sent(left: Left, tmp_path: Path, numbers: Sequence[int]) -> None:
    answers = told().answers(left.stop.name, "sheets")
    now = await earlier.sent(left.files, left.stop, numbers, tmp_path)
    assert _by_act(left.stop.sheets, numbers, now) == _by_act(left.stop.sheets, numbers, [answers[n] for n in numbers])


def _by_act(acts: Sequence[object], numbers: Sequence[int], answers: Sequence[Answer]) -> dict[str, Answer]:
    return {str(acts[n]): answer for n, answer in zip(numbers, answers, strict=True)}
