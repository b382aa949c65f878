"""`python -m tests.bench.faults [PLANS [FIRST]]`: whole rounds on a platform that fails by plan, 500 of them.

Each plan is a seed; `python -m tests.bench.faults 1 SEED` plays one of them again. 1 when anything is missing, there
twice, out of order or, where nothing failed, late.
"""

from __future__ import annotations

import asyncio
import logging
import sys
import time

import structlog

from tests.faults.plans import Verdict, calm_play, carried_out, plan
from tests.faults.playing import WEEKS

PLANS = 500


async def run(plans: int, first: int) -> int:
    """Prints what is wrong, plan by plan, and what all of them came to."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    begun, calm = time.perf_counter(), await calm_play(WEEKS)
    verdicts: list[Verdict] = []
    for seed in range(first, first + plans):
        verdict = await carried_out(plan(seed, calm), calm, WEEKS)
        verdicts.append(verdict)
        for wrong in verdict.wrong:
            print(f"plan {seed}: {wrong}")
        if verdict.wrong:
            print("\n".join(f"    {fault}" for fault in plan(seed, calm)))
    total = {name: sum(getattr(v, name) for v in verdicts) for name in ("messages", "struck", "late", "dropped")}
    held, told = sum(v.held for v in verdicts), sum(v.said for v in verdicts)
    wrong_plans = sum(bool(v.wrong) for v in verdicts)
    print(f"{plans} plans of {sum(map(len, calm.order.values()))} messages each, {time.perf_counter() - begun:.0f} s")
    print(f"calls that failed {total['struck']:,}, messages {total['messages']:,}, of them late {total['late']:,}")
    print(f"overtaken and dropped {total['dropped']:,}, held {held:,}, words about that {told:,}")
    print(f"plans with anything missing, twice, out of order or late for nothing: {wrong_plans}")
    return 1 if wrong_plans else 0


if __name__ == "__main__":
    plans, first = [*map(int, sys.argv[1:]), *(PLANS, 1)[len(sys.argv) - 1 :]]
    sys.exit(asyncio.run(run(plans, first)))
