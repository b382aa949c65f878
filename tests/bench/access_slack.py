"""`python -m tests.bench.access_slack`: every word by people of every kind, on every surface of Slack that takes one.

Prints how many were tried and what went wrong; 1 if anything did.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from pathlib import Path

import structlog

from tests.wire.slack.test_who_may import TRIES, at_work, judged
from tests.wire.slack.workspace import Workspace


async def main() -> int:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(50))
    workspace = Workspace()
    await workspace.start()
    try:
        with tempfile.TemporaryDirectory() as folder:
            async with at_work(workspace, Path(folder)) as there:
                found = await judged(there, TRIES)
    finally:
        await workspace.close()
    print("\n".join(found))
    print(f"{len(TRIES)} tries, {len(found)} wrong")
    return int(bool(found))


if __name__ == "__main__":
    sys.exit(asyncio.run(main()))
