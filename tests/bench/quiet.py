"""How much the bot says, counted from the demo's conversation and from the same round in Slack: beside each figure
the bound that it must not pass.

`python -m tests.bench.quiet [room | slack | large ...]`; `large` is the room with 25 people and 120 notes.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.demo.large import large
from tests.demo.main_scenario import load_main_play, play_overheard, save_main_play
from tests.heard import Ear, table
from tests.shared import finished
from tests.wire.slack.whole_round import at_work


def in_the_room(folder: Path) -> Ear:
    save_main_play(folder)
    return load_main_play(folder).ear


def in_slack(folder: Path) -> Ear:
    return finished(_in_slack(folder))


async def _in_slack(folder: Path) -> Ear:
    async with at_work(folder) as there:
        await there.set_up()
        await there.play()
        return there.ear


def with_many(folder: Path) -> Ear:
    return finished(play_overheard(large(), folder)).ear


PLAYS = {"room": in_the_room, "slack": in_slack, "large": with_many}


def main(names: list[str]) -> int:
    for name in names or ("room", "slack"):
        with tempfile.TemporaryDirectory() as folder:
            print(f"{name}, first round")
            print("\n".join(f"  {line}".rstrip() for line in table(PLAYS[name](Path(folder)))), flush=True)
            print()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
