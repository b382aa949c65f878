"""Trying wrongs: one process collects the tests once, and for each wrong a copy of it runs those that run through its
line. What runs with the import of a module is tried in a process that imports everything anew."""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import coverage
import pytest

from tests.mutation.planted import plant
from tests.mutation.sites import BOT, ROOMS, Site
from tests.mutation.swapping import Functions

FOUND, ENDLESS, LEFT, UNTOUCHED = "found", "without end", "not found", "no test runs through it"
ANEW = "only by importing anew"
LONGEST = 20.0
"""Seconds of tests that one wrong gets, twice as many where it runs with the import. What they would have found later
counts as not found."""
ASIDE, TIMES = 20, 6
"""Seconds of a processor, and how many times what its tests take without a wrong, after which one has no end."""
MEMORY = 12 << 30  # bytes of address space; what grows without end fails there
WORDS = ["-q", "--no-header", "-p", "no:cacheprovider", "-o", "timeout=0", "-m", "not slow"]
BROKEN = "the tests fail without any wrong"


# --- which test runs through which line -----------------------------------------------------------------------------


@dataclass
class Map:
    """`lines`: by file and line the tests that run through it. `imported`: what ran while tests were collected."""

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[str, list[int]]] = field(default_factory=dict)
    imported: dict[str, list[int]] = field(default_factory=dict)

    @classmethod
    def read(cls, file: Path) -> Map:
        return cls(**json.loads(file.read_text(encoding="utf-8")))

    def keep(self, file: Path) -> None:
        whole = file.with_suffix(".part")
        whole.write_text(json.dumps(vars(self)), encoding="utf-8")
        whole.replace(file)  # whole or not at all

    def through(self, site: Site) -> list[str]:
        """The tests to try, while there is time: of a line those that run through it, the module's own first. Of what
        runs with the import any, the quick ones first: nearly all together take as long as the few slow ones."""
        names, lines = list(self.seconds), self.lines.get(site.file, {})
        here = {names[at] for at in lines.get(str(site.line), ())}
        stem = Path(site.file).stem.strip("_")
        chosen, taken = list[str](), 0.0
        for test in sorted(here or names, key=lambda t: (here and stem not in t, self.seconds[t], t)):
            chosen.append(test)
            taken += self.seconds[test]
            if taken > (LONGEST if here else 2 * LONGEST):
                break
        return chosen

    def expected(self, tests: Sequence[str]) -> float:
        return sum(self.seconds.get(test, 1.0) for test in tests)


# --- the tests, collected once --------------------------------------------------------------------------------------


class Examples:
    """A plugin of pytest: the same examples each time, and none that another wrong has left."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self, config: pytest.Config) -> None:
        import hypothesis  # not before pytest, which has to see it come

        ordinary = hypothesis.settings.get_profile("ordinary")
        hypothesis.settings.register_profile("mutation", ordinary, derandomize=True, database=None)
        hypothesis.settings.load_profile("mutation")


class Collected:
    """A plugin of pytest, which tries wrongs for its run: `tell` hears what became of each, by its place in `drawn`."""

    def __init__(self, drawn: Sequence[Site], kept: Path, tell: Callable[[int, str], None]) -> None:
        self._drawn, self._kept, self._tell = drawn, kept, tell
        # Not the watching of Python 3.12 and newer: it knows nothing of tests.
        os.environ["COVERAGE_CORE"] = "ctrace"
        self._import = _coverage()
        self._import.start()

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self._import.stop()
        if session.testsfailed or (not self._kept.exists() and _status(lambda: self._measure(session)) != 0):
            raise pytest.UsageError(BROKEN)
        known, functions = Map.read(self._kept), Functions()
        items = {item.nodeid: item for item in session.items}
        came = [name for name in items if name not in known.seconds]  # since the map was made
        for number, site in enumerate(self._drawn):
            names = [name for name in (*came, *known.through(site)) if name in items]
            chosen = [items[name] for name in names]
            run = partial(_with, session, functions, chosen, site)
            status = _status(run, known.expected(names)) if names else _NOT_HERE
            again = status == 0 and site.line in known.imported.get(site.file, ())
            self._tell(number, ANEW if again or status in (_NOT_HERE, BROKE) else judged(status))
        return True

    def _measure(self, session: pytest.Session) -> int:
        """Runs each once, and notes which lines it runs through, and how long it takes."""
        known, fails = Map(imported=_lines_of(self._import.get_data())), list[str]()
        seen = _coverage()
        seen.start()
        for item, after in _pairs(session.items):
            seen.switch_context(item.nodeid)
            begun = time.process_time()
            failed = session.testsfailed
            item.ihook.pytest_runtest_protocol(item=item, nextitem=after)
            known.seconds[item.nodeid] = round(time.process_time() - begun, 4)
            fails += [item.nodeid] * (session.testsfailed > failed)
        seen.stop()
        data, at = seen.get_data(), {name: number for number, name in enumerate(known.seconds)}
        for file in data.measured_files():
            by_line = data.contexts_by_lineno(file).items()
            known.lines[str(Path(file).relative_to(BOT))] = {
                str(line): sorted(at[name] for name in tests if name in at) for line, tests in by_line
            }
        if fails:
            self._kept.with_suffix(".fails").write_text("\n".join(fails), encoding="utf-8")
            return 1
        known.keep(self._kept)
        return 0


_NOT_HERE, BROKE = 71, 70  # statuses that pytest does not have


def _with(session: pytest.Session, functions: Functions, items: Sequence[pytest.Item], site: Site) -> int:
    if not functions.swap(site):
        return _NOT_HERE
    for item, after in _pairs(items):
        item.ihook.pytest_runtest_protocol(item=item, nextitem=after)
        if session.testsfailed:
            return 1
    return 0


def _pairs(items: Sequence[pytest.Item]) -> Iterator[tuple[pytest.Item, pytest.Item | None]]:
    return zip(items, [*items[1:], None], strict=True)


def _coverage() -> coverage.Coverage:
    rooms = [f"{BOT}/coldframe/{room}/*" for room in ROOMS]
    return coverage.Coverage(data_file=None, config_file=False, include=rooms)


def _lines_of(data: Any) -> dict[str, list[int]]:
    return {str(Path(file).relative_to(BOT)): sorted(data.lines(file) or ()) for file in data.measured_files()}


# --- processes --------------------------------------------------------------------------------------------------------


def judged(status: int) -> str:
    """By the status with which its process ended; below 0 where it had to be stopped."""
    if status < 0:
        return ENDLESS
    if status == BROKE:
        raise SystemExit("a wrong could not be tried")
    return LEFT if status in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED) else FOUND


def anew(known: Map, site: Site | None, names: Sequence[str], folder: Path) -> int:
    """The status with which these tests end in a process that imports everything with the wrong, if any, in it."""
    listed = folder / "tests.txt"
    listed.write_text("\n".join(names), encoding="utf-8")

    def run() -> int:
        be_quiet(folder)
        if site is not None:
            plant(f"{site.file}:{site.number}")
        return int(pytest.main([*WORDS, "-x", f"@{listed}"], plugins=[Examples()]))

    return _status(run, known.expected(names))


def _status(run: Callable[[], int], expected: float | None = None) -> int:
    """Of a copy of this process. Of one that must not take too long where it is said what it should take."""
    if (child := os.fork()) == 0:
        status = BROKE
        try:
            if expected is not None:
                most = int(ASIDE + TIMES * expected)
                resource.setrlimit(resource.RLIMIT_CPU, (most, most))
                resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
                signal.signal(signal.SIGXCPU, signal.SIG_DFL)
            status = run()
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def be_quiet(folder: Path) -> None:
    """Says nothing, and leaves nothing but byte code for the next."""
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(folder / "hypothesis")
    sys.dont_write_bytecode, sys.pycache_prefix = False, str(folder / "byte code")
    nothing = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nothing, stream)


def collected(drawn: Sequence[Site], folders: Sequence[str], kept: Path, folder: Path) -> Iterator[tuple[int, str]]:
    """What becomes of each, as it is known; `ANEW` where this cannot be had here."""
    reading, writing = os.pipe()
    if (child := os.fork()) == 0:
        status = BROKE
        try:
            os.close(reading)
            with os.fdopen(writing, "w", buffering=1) as out:
                be_quiet(folder)
                plugin = Collected(drawn, kept, lambda number, what: print(json.dumps([number, what]), file=out))
                status = int(pytest.main([*WORDS, *folders], plugins=[Examples(), plugin]))
        finally:
            os._exit(status)
    os.close(writing)
    try:
        with os.fdopen(reading) as lines:
            for line in lines:
                number, what = json.loads(line)
                yield number, what
    except GeneratorExit:
        os.kill(child, signal.SIGTERM)
        raise
    if (status := os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])) != 0:
        fails = kept.with_suffix(".fails")
        named = fails.read_text(encoding="utf-8") if fails.exists() else "they cannot be collected"
        raise SystemExit(f"{BROKEN} (status {status}):\n{named}")
