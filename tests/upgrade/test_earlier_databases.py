"""A bot that was stopped in any step under its first release goes on under this one, as if it had not been changed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

import pytest

from tests.upgrade import earlier
from tests.upgrade.earlier import Answer, Came, Stop

told = cache(earlier.read_answers)
played = cache(earlier.scenario)
STOPS = tuple(told())
STEPS = {
    *("setup", "notes", "focus", "merge", "dots", "questions", "precedents", "plans", "ballot", "placement"),
    *("commitment", "committed", "cancelled"),
}
What = Literal["buttons", "sheets"]
"""The steps of the first schema; later ones have no files of that time."""
AFTER = {"trial", "review", "ended", "merge-unsent", "sealed-unsent"}
ORDINARY = {"notes", "merge", "dots", "ballot", "commitment", "trial", "ended", "merge-unsent", "sealed-unsent"}
SOME = [pytest.param(stop, marks=() if stop in ORDINARY else pytest.mark.slow) for stop in STOPS]


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
    """There are files of each step, of trials, of rounds that ended both ways, and with sends that waited."""
    assert set(STOPS) >= STEPS - {"committed"} | AFTER


@pytest.mark.parametrize("left", SOME, indirect=True)
async def test_it_goes_on_to_the_next_step(left: Left, tmp_path: Path) -> None:
    """The round is read at its step, and due rows and people bring it on as they did, in today's words."""
    on = await earlier.go_on(left.copy(tmp_path / "on"), left.stop, played())
    assert on.kind == told()[left.stop.name].conversation
    assert on.kind.startswith(f"{left.stop.step} to ")
    assert on.words


@pytest.mark.parametrize("left", SOME, indirect=True)
async def test_it_comes_back_after_days(left: Left, tmp_path: Path) -> None:
    """Started days later, it goes to work again, and gives a step that was open the lost time back."""
    back = await earlier.come_back(left.copy(tmp_path / "on"), left.stop)
    assert back.words
    if left.stop.name in STEPS:
        assert back.kind == ("back" if left.stop.step in ("setup", "committed", "cancelled") else "longer")


@pytest.mark.parametrize("left", SOME, indirect=True)
@pytest.mark.parametrize("what", ["buttons", "sheets"])
async def test_one_of_each_kind_is_answered(left: Left, what: What, tmp_path: Path) -> None:
    """A button that stood in the chats, or a form that was open, does what it did, or says why it no longer does."""
    await _compare(left, what, earlier.one_of_each(told(), what)[left.stop.name], tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("what", ["buttons", "sheets"])
async def test_every_one_is_answered(left: Left, what: What, tmp_path: Path) -> None:
    """Each button that stood in the chats, pressed by each person who saw it, and each form that was open."""
    await _compare(left, what, range(len(getattr(told()[left.stop.name], what))), tmp_path)


async def _compare(left: Left, what: What, numbers: Sequence[int], work: Path) -> None:
    acts = left.stop.buttons if what == "buttons" else left.stop.sheets
    then: Sequence[Came] = getattr(told()[left.stop.name], what)
    now = await earlier.answered(left.files, left.stop, acts, [came.kind for came in then], numbers, work)
    by_people = {n: a for n, a in zip(numbers, now, strict=True) if acts[n].person != ITSELF}
    assert not {str(acts[n]): a for n, a in by_people.items() if not _as_it_was(a, then[n])}


ITSELF = "coldframe"
"""The bot saw its own buttons in the channel too. Nothing that a bot presses is answered any more."""
MADE_FOR = {
    *("step.done", "step.undone", "step.close", "step.extend", "round.start_on", "round.cancel", "owner.decline"),
    *("nextround.date", "review.date", "trial.move", "trial.decline", "trial.block", "trial.review_date"),
    *("trial.hand_over", "trial.stop"),
}
"""What an older button of these does not say, it was made for: one that may be over, so that it does nothing now."""


def _as_it_was(now: Answer, then: Came) -> bool:
    """Whoever may not do it is told so before its form opens by now, not after it is sent."""
    over = then.action in MADE_FOR and now.kind == "told" and any("Nothing was changed" in w for w in now.words)
    denied = then.kind == "form" and now.kind == "told" and any(w.startswith("note: That is for") for w in now.words)
    return bool(now.words) and (now.kind == then.kind or over or denied)
