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
