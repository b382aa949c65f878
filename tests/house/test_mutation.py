"""`python3 tests --mutation` and `--shuffled`: the wrongs are wrongs of one place, the order is that of its seed."""

from __future__ import annotations

import ast
import random
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests import shuffled
from tests.mutation import planted
from tests.mutation.sites import BOT, TOP, mutated, sites, told
from tests.mutation.tried import Map


def test_each_wrong_is_another_program_that_can_be_read() -> None:
    """None leaves a module as it was, and of none can it not be compiled."""
    every = sites()
    assert len(every) > 5_000 and len({(site.file, site.number) for site in every}) == len(every)
    for site in random.Random(7).sample(every, 60):
        as_it_is = ast.unparse(ast.parse((BOT / site.file).read_text(encoding="utf-8")))
        wrong = mutated(site)
        compile(wrong, site.file, "exec")
        assert wrong != as_it_is and "\n    -> " in told(site)


def test_a_wrong_is_in_the_process_and_in_no_file() -> None:
    """The module is the wrong one from its first import on."""
    name = "coldframe/timing/pauses.py"
    before = (BOT / name).read_bytes()
    (site, *_) = [site for site in sites(("timing",)) if site.file == name and "return" in told(site)]
    code = "import tests.mutation.planted, inspect, coldframe.timing.pauses as p; print(p.pause(0, chr(120)))"
    found = []
    for which in ("", f"{name}:{site.number}"):
        env = {"PYTHONPATH": f"{TOP}:{BOT}", planted.WHICH: which}
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, cwd=TOP)
        found.append((done.returncode, done.stdout))
    assert found[0][0] == 0 and found[0] != found[1]
    assert (BOT / name).read_bytes() == before


SWAPPED = """
import os, sys
import coldframe.timing.pauses as pauses, coldframe.timing.calendars as calendars
from tests.mutation.sites import sites
from tests.mutation.swapping import Functions

def told():
    found = []
    for call in (lambda: [pauses.pause(tries, "x") for tries in range(12)], lambda: calendars._is_wall(1)):
        try:
            found.append(call())
        except Exception as error:
            found.append(type(error))
    return found

functions, before = Functions(), told()
for site in sites(("timing",)):
    if site.file in ("coldframe/timing/pauses.py", "coldframe/timing/calendars.py"):
        if (child := os.fork()) == 0:
            put = functions.swap(site)
            os._exit(2 * put + (told() != before))
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        print(site.file, site.line, status // 2, status % 2)
"""


def test_a_wrong_is_put_into_the_functions_that_live_already() -> None:
    """Each in those of its own line and in no others; what runs with the import is left to a process of its own."""
    env = {"PYTHONPATH": f"{TOP}:{BOT}"}
    done = subprocess.run([sys.executable, "-c", SWAPPED], env=env, capture_output=True, text=True, cwd=TOP)
    assert done.returncode == 0, done.stderr
    found = [
        (file, int(line), bool(int(put)), bool(int(felt)))
        for file, line, put, felt in map(str.split, done.stdout.splitlines())
    ]
    pauses = (BOT / "coldframe/timing/pauses.py").read_text(encoding="utf-8").splitlines()
    begins = next(number for number, line in enumerate(pauses, 1) if line.startswith("def "))
    in_pauses = [(line, put, felt) for file, line, put, felt in found if file.endswith("pauses.py")]
    assert all(put == (line > begins) for line, put, _ in in_pauses)
    assert sum(felt for line, _, felt in in_pauses if line > begins) >= 6, "the doublings, the spread, the bounds"
    wall = _line_of("coldframe/timing/calendars.py", "return isinstance(wall, time)")
    assert {line for file, line, _, felt in found if file.endswith("calendars.py") and felt} == {wall}


def _line_of(file: str, words: str) -> int:
    lines = (BOT / file).read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, 1) if words in line)


def test_the_tests_of_a_wrong_are_those_of_its_line_and_end_in_time() -> None:
    """First those of the module's name, then the quick ones; of what runs with the import any, quick ones first."""
    file = "coldframe/timing/pauses.py"
    number = _line_of(file, "return max(MIN_PAUSE")
    seconds = {"test_slow.py::a": 30.0, "test_quick.py::b": 0.1, "test_pauses.py::c": 1.0, "test_else.py::d": 0.1}
    known = Map(seconds, {file: {str(number): [0, 1, 2], "3": [3]}})
    through = next(site for site in sites(("timing",)) if site.file == file and site.line == number)
    assert known.through(through) == ["test_pauses.py::c", "test_quick.py::b", "test_slow.py::a"]
    with_import = next(site for site in sites(("timing",)) if site.file == file and "MIN_PAUSE =" in told(site))
    assert known.through(with_import) == ["test_else.py::d", "test_quick.py::b", "test_pauses.py::c", "test_slow.py::a"]
    long = Map({f"test_{n}.py::x": 6.0 for n in range(10)}, {file: {str(number): [*range(10)]}})
    assert len(long.through(through)) == 4, "as many as twenty seconds hold, and the one that fills them"


def test_an_order_is_that_of_its_seed_and_leaves_nothing_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same on each worker; what stands in one file stays together."""
    items = [SimpleNamespace(path=Path(f"{file}.py"), name=str(n)) for file in "abcd" for n in range(5)]

    def order(seed: str) -> list[Any]:
        monkeypatch.setenv(shuffled.ORDER, seed)
        came: list[Any] = [*items]
        shuffled.pytest_collection_modifyitems(came)
        return came

    assert order("1") == order("1") != order("2")
    assert sorted(map(id, order("3"))) == sorted(map(id, items))
    files = [item.path for item in order("3")]
    assert len([at for at in range(1, 20) if files[at] != files[at - 1]]) == 3
