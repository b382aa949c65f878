"""The demo's command in a process of its own, with blank pictures, that can kill itself at a chosen crossing.

Crossings are where a killed process may leave half of something: before and after each message of the room and each
line of the play's memory, at the beginning of each transaction of the bot's database, and right before its commit.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

from demo.main import HERE

TOP = HERE.parent
SMALL = HERE / "scenarios" / "three-people.yaml"
RUNNER = """
import os, signal, sys
sys.path.insert(0, {top!r})

CROSSED = 0

def crossing(*_ignored):
    global CROSSED
    CROSSED += 1
    if CROSSED == int(os.environ.get("KILL_AT", "0")):
        os.kill(os.getpid(), signal.SIGKILL)

def crossed(function):
    def wrapped(*args, **options):
        crossing()
        result = function(*args, **options)
        crossing()
        return result
    return wrapped

if __name__ == "__main__":
    from sqlalchemy import event
    from sqlalchemy.engine import Engine
    import coldframe.charts.studio as studio
    from coldframe.chat.room.log import Log
    from demo.main import main
    from demo.play import Memory

    async def draw(self, chart, form="png"):
        return b"PNG"

    studio.Studio.draw = draw
    Log.put_message = crossed(Log.put_message)
    Log.change_card = crossed(Log.change_card)
    Log.act_done = crossed(Log.act_done)
    Memory.note = crossed(Memory.note)
    event.listen(Engine, "begin", crossing)
    event.listen(Engine, "commit", crossing)
    status = main(sys.argv[1:])
    with open(os.environ["CROSSINGS"], "w") as file:
        file.write(str(CROSSED))
    sys.exit(status)
"""


def run(out: Path, *options: str, kill_at: int = 0, scenario: Path = SMALL) -> subprocess.CompletedProcess[str]:
    """Plays the scenario into the folder; its exit status is -9 when it was killed."""
    runner = out.parent / "runner.py"
    runner.write_text(RUNNER.format(top=str(TOP)), encoding="utf-8")
    command = [sys.executable, str(runner), "--quiet", "--scenario", str(scenario), "--out", str(out), *options]
    surroundings = {**os.environ, "KILL_AT": str(kill_at), "CROSSINGS": str(_count(out))}
    return subprocess.run(command, capture_output=True, text=True, check=False, env=surroundings)


def _count(out: Path) -> Path:
    return out.with_name(f"{out.name}.crossings")


def crossings(out: Path) -> int:
    """How many crossings the last run that was not killed had."""
    return int(_count(out).read_text(encoding="utf-8"))


def messages(out: Path) -> Counter[str]:
    """The conversation as a bag of messages: who, where and what; an answer may come minutes later after a resume."""
    parts = (out / "conversation.md").read_text(encoding="utf-8").split("\n**")
    return Counter(part.partition("), ")[2] for part in parts)
