"""How many small wrongs in the pure rooms the tests find.

    python3 tests --mutation [N] [--seed S] [--in WORD] [--again SITE ...] [--map FILE]

Of all wrongs that can be done to domain, analysis and timing (see `sites`) N are drawn, 100 unless told, by a seed
that is printed. Each is tried in a process of its own with the tests of these rooms that run through its line, and is
found when one of them fails, or does not come to an end. The share that was found is printed with a 95 % interval
(Wilson), and each that was not with its line; `--in` draws only from files of this name, `--again` tries the sites
named, as they are printed. Which tests run through which line is found by running them once, and kept in the `--map`.
Wrongs that change nothing (a bound that is never met) count as not found.
"""

from __future__ import annotations

import argparse
import importlib
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from coverage import CoverageData

from tests.mutation.planted import plant
from tests.mutation.sites import BOT, ROOMS, TOP, Site, sites, told

FOLDERS = [f"tests/{room}" for room in ROOMS]
HEAVY = "numpy scipy.optimize scipy.special scipy.stats holidays pydantic rapidfuzz snowballstemmer yaml"
"""Libraries that are had once, before the processes part."""
MOST = 300  # seconds of processor for one, far more than all its tests take
QUIET = [
    "-q",
    "-x",
    "--no-header",
    "-p",
    "no:cacheprovider",
    "-o",
    "timeout=0",
    "-m",
    "not slow",
    "--hypothesis-seed=0",
]
FOUND, ENDLESS, LEFT, UNTOUCHED = "found", "without end", "not found", "no test runs through it"


class Tests:
    """Which tests run through which line of which file."""

    def __init__(self, file: Path) -> None:
        self._data = CoverageData(str(file))
        self._data.read()
        self._files: dict[str, dict[int, list[str]]] = {}

    def through(self, site: Site) -> list[str]:
        """Those of the line; of a line that runs with the import of the module, all of its tests. First those whose
        name is the module's, since they mostly find it."""
        name = str(BOT / site.file)
        lines = self._files.setdefault(name, self._data.contexts_by_lineno(name))
        here = {each.partition("|")[0] for each in lines.get(site.line, ()) if each}
        anywhere = {each.partition("|")[0] for every in lines.values() for each in every if each}
        stem = Path(site.file).stem
        return sorted(here or anywhere, key=lambda test: (stem not in test, test))


def measure(file: Path) -> Path:
    """Runs the tests once, and notes for each which lines it runs through."""
    words = [
        "-q",
        "--no-header",
        "-p",
        "no:cacheprovider",
        "--cov=coldframe",
        "--cov-context=test",
        "--cov-report=",
        "--cov-fail-under=0",
    ]
    command = [sys.executable, "-m", "pytest", *words, "-m", "not slow", *FOLDERS]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join((str(TOP), str(BOT))), "COVERAGE_FILE": str(file)}
    done = subprocess.run(command, cwd=TOP, env=env, capture_output=True, text=True)
    if done.returncode:
        print(done.stdout[-3000:], file=sys.stderr)
        raise SystemExit("the tests fail without any wrong")
    return file


def outcome(site: Site, tests: Tests, folder: Path) -> str:
    """What becomes of one wrong."""
    names = tests.through(site)
    if not names:
        return UNTOUCHED
    ended = _ended(site, names, folder)
    if ended < 0:
        return ENDLESS
    return LEFT if ended == pytest.ExitCode.OK else FOUND


def _ended(site: Site | None, names: Sequence[str], folder: Path) -> int:
    """With whole files where a test has another name, by the wrong or since the map was made."""
    ended = _apart(site, names, folder)
    if ended != pytest.ExitCode.USAGE_ERROR:
        return ended
    return _apart(site, sorted({name.partition("::")[0] for name in names}), folder)


def _apart(site: Site | None, names: Sequence[str], folder: Path) -> int:
    """The status with which pytest ends in a process that has the wrong, if any; below 0 where it had to be stopped."""
    listed = folder / "tests.txt"
    listed.write_text("\n".join(names), encoding="utf-8")
    if (child := os.fork()) == 0:
        status = 70
        try:
            _be_quiet(folder)
            if site is not None:
                plant(f"{site.file}:{site.number}")
            status = int(pytest.main([*QUIET, f"@{listed}"]))
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _be_quiet(folder: Path) -> None:
    """Says nothing, ends in time, and leaves nothing but byte code for the next."""
    resource.setrlimit(resource.RLIMIT_CPU, (MOST, MOST))
    signal.signal(signal.SIGXCPU, signal.SIG_DFL)
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(folder / "hypothesis")
    sys.dont_write_bytecode, sys.pycache_prefix = False, str(folder / "byte code")
    nothing = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nothing, stream)


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
    parser.add_argument("--map", type=Path, metavar="FILE", help="where it is kept which tests run through which line")
    asked = parser.parse_args(words)
    drawn = _drawn(asked)
    print(f"{len(drawn)} of {len(sites())} wrongs, by seed {asked.seed}", flush=True)
    counts = Counter[str]()
    try:
        # A test that is stopped may still write there.
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
            folder = Path(name)
            kept = asked.map or folder / "map"
            if not kept.exists():
                shutil.move(measure(folder / "measured"), kept)  # whole or not at all
            tests = Tests(kept)
            for each in HEAVY.split():
                importlib.import_module(each)
            os.chdir(TOP)
            for what in _tried(drawn, tests, folder):
                counts[what] += 1
    except KeyboardInterrupt:
        print("\nstopped; what was tried until then:", flush=True)
    _tell(counts)
    return 0


def _tried(drawn: Sequence[Site], tests: Tests, folder: Path) -> Iterator[str]:
    """First without any, by which it is known that what fails, fails by the wrong."""
    if drawn and _ended(None, tests.through(drawn[0]), folder) != pytest.ExitCode.OK:
        raise SystemExit("the tests fail without any wrong")
    for number, site in enumerate(drawn, 1):
        what = outcome(site, tests, folder)
        if what in (LEFT, UNTOUCHED):
            print(f"[{number}] {what}: {site.file}:{site.number}\n    {told(site)}", flush=True)
        yield what


def _tell(counts: Counter[str]) -> None:
    from coldframe.analysis.proportions import wilson_interval  # not before all processes have parted

    tried, found = counts.total(), counts[FOUND] + counts[ENDLESS]
    print(", ".join(f"{what}: {number}" for what, number in sorted(counts.items())))
    if tried:
        ends = wilson_interval(found, tried)
        print(f"score {100 * found / tried:.1f} % ({100 * ends.low:.1f} to {100 * ends.high:.1f}), {found} of {tried}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
