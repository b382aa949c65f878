"""How many small wrongs in the pure rooms the tests find.

    python3 tests --mutation [N] [--seed S] [--after K] [--in WORD] [--again SITE ...] [--map FILE]

Of all wrongs that can be done to domain, analysis and timing (see `sites`) N are drawn, 400 unless told, by a seed
that is printed. Each is tried in a process of its own with the tests of these rooms that run through its line, twenty
or forty seconds of them (see `tried`), and is found when one of them fails, or does not come to an end. The share that
was found is printed with a 95 % interval (Wilson), and each that was not with its line. `--after` leaves out the first
of the draw, so that a long one can be had in parts; `--in` draws only from files of this name, `--again` tries those
named as they are printed. Which tests run through which line is found by running them once, and kept in the `--map`;
tests that came since are tried with every wrong. Wrongs that change nothing (a bound that is never met) count as not
found.
"""

from __future__ import annotations

import argparse
import importlib
import os
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from tests.mutation.sites import ROOMS, TOP, Site, sites, told
from tests.mutation.tried import ANEW, ENDLESS, FOUND, LEFT, UNTOUCHED, Map, anew, collected, judged

FOLDERS = [f"tests/{room}" for room in ROOMS]
HEAVY = "numpy scipy.optimize scipy.special scipy.stats holidays pydantic rapidfuzz snowballstemmer yaml"
"""Libraries that are had once, before the processes part."""


def outcomes(drawn: Sequence[Site], kept: Path, folder: Path) -> Iterator[tuple[Site, str]]:
    """In the order of the draw, so that one that is stopped has tried a part of it by chance."""
    for number, what in collected(drawn, FOLDERS, kept, folder):
        site = drawn[number]
        yield site, _anew(Map.read(kept), site, folder) if what == ANEW else what


def _anew(known: Map, site: Site, folder: Path) -> str:
    """With whole files where a test has another name, by the wrong or since the map was made."""
    if not (names := known.through(site)):
        return UNTOUCHED
    status = anew(known, site, names, folder)
    if status == pytest.ExitCode.USAGE_ERROR:
        status = anew(known, site, sorted({name.partition("::")[0] for name in names}), folder)
    return judged(status)


def _drawn(asked: argparse.Namespace) -> list[Site]:
    there = [site for site in sites() if asked.inside in site.file]
    if asked.again:
        return [site for site in there if f"{site.file}:{site.number}" in asked.again]
    random.Random(asked.seed).shuffle(there)
    return there[asked.after : asked.after + asked.number]


def main(words: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python3 tests --mutation")
    parser.add_argument("number", nargs="?", type=int, default=400, help="how many are drawn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--after", type=int, default=0, metavar="K", help="leave out the first K of the draw")
    parser.add_argument("--in", dest="inside", default="", metavar="WORD", help="only in files of this name")
    parser.add_argument("--again", nargs="*", default=(), metavar="SITE", help="these, as they were printed")
    parser.add_argument("--map", type=Path, metavar="FILE", help="where it is kept which tests run through which line")
    asked = parser.parse_args(words)
    drawn = _drawn(asked)
    print(f"{len(drawn)} of {len(sites())} wrongs, by seed {asked.seed}", flush=True)
    counts = Counter[str]()
    os.chdir(TOP)
    for each in HEAVY.split():
        importlib.import_module(each)
    try:
        # A test that is stopped may still write there.
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
            kept = asked.map.resolve() if asked.map else Path(name) / "map"
            for site, what in outcomes(drawn, kept, Path(name)):
                counts[what] += 1
                if what in (LEFT, UNTOUCHED):
                    print(f"[{counts.total()}] {what}: {site.file}:{site.number}\n    {told(site)}", flush=True)
    except KeyboardInterrupt:
        print("\nstopped; what was tried until then:", flush=True)
    _tell(counts)
    return 0


def _tell(counts: Counter[str]) -> None:
    from coldframe.analysis.proportions import wilson_interval  # not before all processes have parted

    tried, found = counts.total(), counts[FOUND] + counts[ENDLESS]
    print(", ".join(f"{what}: {number}" for what, number in sorted(counts.items())))
    if tried:
        ends = wilson_interval(found, tried)
        print(f"score {100 * found / tried:.1f} % ({100 * ends.low:.1f} to {100 * ends.high:.1f}), {found} of {tried}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
