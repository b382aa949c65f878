"""`python -m tests.bench.replicas [ROUNDS [SEED]] [--lease SECONDS] [--pause SECONDS]`: three processes of the bot on
one PostgreSQL, killed and frozen at random for longer than a lease, with clocks five minutes apart, and 200 rounds.
With `--before COMMIT` they begin with the code of that commit, and are replaced by this one's, one after the other.

1 when anything is lost, there twice, early, when a vote counts beyond the quota, or when a person is shown an error.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.engine.databases import POSTGRES, a_database, an_empty_database
from tests.faults.replicas import SKEWS, TOP, Verdict, run
from tests.upgrade.releases import code_of

ROUNDS, LONGEST = 200, 3600.0


def printed(verdict: Verdict) -> None:
    kinds = Counter(wrong.split(":")[0].split(" ")[0] for wrong in verdict.wrong)
    many_last = sorted(verdict.wrong, key=lambda what: what.startswith("error shown"))
    for wrong in many_last[:60]:
        print(wrong)
    told = ", ".join(f"{what} {times:,}" for what, times in sorted(verdict.happenings.items()))
    print(f"{verdict.rounds} rounds at once, {len(SKEWS)} processes, {verdict.seconds:.0f} s")
    print(f"processes: {', '.join(f'{what} {times}' for what, times in sorted(verdict.mischief.items()))}")
    print(f"happenings: {told}; messages {verdict.messages:,}, sent twice and taken back {verdict.withdrawn_doubles}")
    print(f"steps closed by the bot {verdict.moved_by_itself}, the latest {verdict.latest:.1f} s after its moment")
    print(f"lost, twice, early, over the quota, errors shown: {dict(kinds) if kinds else 0}")


def main(rounds: int, seed: int, lease: float, pause: float, before: str) -> int:
    a_new_one = an_empty_database if before else a_database
    with tempfile.TemporaryDirectory() as name, a_new_one(POSTGRES, Path(name)) as database:
        home = code_of(before, Path(name)) if before else TOP
        how = {"lease": lease, "pause": pause, "longest": LONGEST}
        verdict = asyncio.run(run(database, Path(name), rounds, seed, **how, home=home))
    printed(verdict)
    return int(bool(verdict.wrong))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rounds", type=int, nargs="?", default=ROUNDS)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--lease", type=float, default=12.0)
    parser.add_argument("--pause", type=float, default=16.0)
    parser.add_argument("--before", default="", metavar="COMMIT")
    given = parser.parse_args()
    sys.exit(main(given.rounds, given.seed, given.lease, given.pause, given.before))
