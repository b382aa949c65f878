"""Plays the scenario's round at the stand-in workspace and prints what it asks of Slack.

    python -m tests.bench.slack_calls

By method: all calls, those of the method's busiest minute, and how many a minute its tier allows; then posts, edits and
deletions to one person in each step. Fails where more is asked than before (`tests/wire/slack/costs.py`).
"""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path

from tests.wire.slack.whole_round import at_work


async def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        async with at_work(Path(folder)) as there:
            await there.set_up()
            await there.play()
            print(there.costs.table(), "", there.costs.people(), sep="\n")
            if risen := there.costs.risen():
                raise SystemExit(f"more than before: {risen}")


if __name__ == "__main__":
    asyncio.run(main())
