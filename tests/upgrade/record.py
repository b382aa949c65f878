"""`python -m tests.upgrade.record`: takes the words of all answers down anew, where words were changed on purpose.

What comes of an act must be of the kind that it was under the release that left the files: only words may differ.
"""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from pathlib import Path

from tests.upgrade import earlier
from tests.upgrade.earlier import Answer, Told


async def _anew(told: Told, name: str, work: Path) -> None:
    files = work / "files"
    stop = earlier.unpack(name, files)
    for what, acts in {"buttons": stop.buttons, "sheets": stop.sheets}.items():
        kinds = [answer.kind for answer in told.answers(name, what)]
        _note(told, name, what, await earlier.answered(files, stop, acts, kinds, range(len(acts)), work))
    on = await earlier.go_on(shutil.copytree(files, work / "on"), stop, earlier.scenario())
    back = await earlier.come_back(shutil.copytree(files, work / "back"), stop)
    _note(told, name, "conversation", [on])
    _note(told, name, "back", [back])


def _note(told: Told, name: str, what: str, answers: list[Answer]) -> None:
    actions = [row[0] for row in told.stops[name][what]]
    for action, now, then in zip(actions, answers, told.answers(name, what), strict=True):
        if now.kind != then.kind and what != "conversation":  # a new step may stand between two old ones
            raise SystemExit(f"{name}, {what} {action}: was {then.kind}, is {now.kind}; that is no change of words")
    told.note(name, what, zip(actions, answers, strict=True))


async def _record() -> None:
    told = Told.read()
    for name in told.stops:
        with tempfile.TemporaryDirectory() as work:
            await _anew(told, name, Path(work))
    told.write()


if __name__ == "__main__":
    asyncio.run(_record())
