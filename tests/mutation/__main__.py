"""How many small wrongs in the pure rooms the tests find.

    python3 tests --mutation [N] [--seed S] [--in WORD] [--again SITE ...]

Of all wrongs that can be done to domain, analysis and timing (see `sites`) N are drawn, 100 unless told, by a seed
that is printed. Each is tried with the tests of these rooms that run through its line, and is found when one of them
fails, or does not come to an end. The share that was found is printed with a 95 % interval (Wilson), and each that was
not with its line; `--in` draws only from files of this name, `--again` tries the sites named, as they are printed.
Wrongs that change nothing (a bound that is never met) count as not found.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from coverage import CoverageData

from coldframe.analysis.proportions import wilson_interval
from tests.mutation.planted import WHICH
from tests.mutation.sites import BOT, ROOMS, TOP, Site, sites, told

FOLDERS = [f"tests/{room}" for room in ROOMS]
MOST = 900  # seconds for one run, far more than all tests take
QUIET = ["-q", "-x", "--no-header", "-p", "no:cacheprovider", "-p", "no:randomly", "--hypothesis-seed=0"]
FOUND, ENDLESS, LEFT, UNTOUCHED = "found", "without end", "not found", "no test runs through it"


class Tests:
    """Which tests run through which line of which file."""

    def __init__(self, folder: Path) -> None:
        self._data = CoverageData(str(folder / ".coverage"))
        self._data.read()
        self._folder = folder
        self._files: dict[str, dict[int, list[str]]] = {}

    def through(self, site: Site) -> list[str]:
        """Those of the line; of a line that runs with the import of the module, all of its tests."""
        name = str(BOT / site.file)
        lines = self._files.setdefault(name, self._data.contexts_by_lineno(name))
        here = {each.partition("|")[0] for each in lines.get(site.line, ()) if each}
        anywhere = {each.partition("|")[0] for every in lines.values() for each in every if each}
        return sorted(here or anywhere)


def measure(folder: Path) -> Tests:
    """Runs the tests once, and notes for each which lines it runs through."""
    words = ["-q", "--no-header", "-p", "no:cacheprovider", "--cov=coldframe", "--cov-context=test", "--cov-report="]
    done = _pytest([*words, *FOLDERS], _env(folder))
    if done.returncode:
        print(done.stdout[-3000:], file=sys.stderr)
        raise SystemExit("the tests fail without any wrong")
    return Tests(folder)


def _env(folder: Path, **more: str) -> dict[str, str]:
    paths = os.pathsep.join((str(TOP), str(BOT)))
    inner = {"COVERAGE_FILE": str(folder / ".coverage"), "HYPOTHESIS_STORAGE_DIRECTORY": str(folder / "hypothesis")}
    return {**os.environ, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1", **inner, **more}


def _pytest(words: Sequence[str], env: dict[str, str]) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pytest", *words]
    return subprocess.run(command, cwd=TOP, env=env, capture_output=True, text=True, timeout=MOST)


def outcome(site: Site, tests: Tests, folder: Path) -> str:
    """What becomes of one wrong."""
    names = tests.through(site)
    if not names:
        return UNTOUCHED
    listed = folder / f"{site.module}-{site.number}.txt"
    listed.write_text("\n".join(names), encoding="utf-8")
    words = [*QUIET, "-p", "tests.mutation.planted", f"@{listed}"]
    env = _env(folder, **{WHICH: f"{site.file}:{site.number}"})
    try:
        done = _pytest(words, env)
    except subprocess.TimeoutExpired:
        return ENDLESS
    return LEFT if done.returncode == 0 else FOUND


def _drawn(asked: argparse.Namespace) -> list[Site]:
    there = [site for site in sites() if asked.inside in site.file]
    if asked.again:
        return [site for site in there if f"{site.file}:{site.number}" in asked.again]
    return random.Random(asked.seed).sample(there, min(asked.number, len(there)))


def main(words: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python3 tests --mutation")
    parser.add_argument("number", nargs="?", type=int, default=100, help="how many are drawn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--in", dest="inside", default="", metavar="WORD", help="only in files of this name")
    parser.add_argument("--again", nargs="*", default=(), metavar="SITE", help="these, as they were printed")
    parser.add_argument("--at-once", type=int, default=1, help="processes")
    asked = parser.parse_args(words)
    drawn = _drawn(asked)
    print(f"{len(drawn)} of {len(sites())} wrongs, by seed {asked.seed}; first the tests without any", flush=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        tests = measure(folder)
        counts = Counter(_tried(drawn, tests, folder, asked.at_once))
    _tell(counts)
    return 0


def _tried(drawn: Sequence[Site], tests: Tests, folder: Path, at_once: int) -> Iterator[str]:
    with ThreadPoolExecutor(at_once) as pool:
        came = pool.map(lambda site: outcome(site, tests, folder), drawn)
        for number, (site, what) in enumerate(zip(drawn, came, strict=True), 1):
            if what in (LEFT, UNTOUCHED):
                print(f"[{number}] {what}: {site.file}:{site.number}\n    {told(site)}", flush=True)
            yield what


def _tell(counts: Counter[str]) -> None:
    tried, found = counts.total(), counts[FOUND] + counts[ENDLESS]
    print(", ".join(f"{what}: {number}" for what, number in sorted(counts.items())))
    if tried:
        ends = wilson_interval(found, tried)
        print(f"score {100 * found / tried:.1f} % ({100 * ends.low:.1f} to {100 * ends.high:.1f}), {found} of {tried}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
