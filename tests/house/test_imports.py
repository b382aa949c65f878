"""The import rules of pyproject.toml: which way the arrows go, and that a fault is caught."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]

ROOMS = """__main__ analysis calendar charts chat chat.matrix chat.room chat.slack cli clock config domain
domain.people domain.round domain.trial engine engine.core engine.register engine.reminding engine.round
engine.trial errors feeds languages logs meaning message ports private_files render speech
speech.round speech.trial store timing upkeep examination homes listening on_matrix watch wiring"""

DOWNHILL = "imports point downhill"
PURE = "the pure rooms touch nothing outside"
ENGINE = "the engine sees no platform, no picture and no SQL"
IN_ENGINE = "the engine points downhill inside"
IN_DOMAIN = "the domain points downhill inside"
IN_SPEECH = "speech points downhill inside"
STRANGERS = "platforms are strangers to each other"
STORE = "only wiring, upkeep and examination open the store"

FAULTS = [
    ("coldframe.domain", "import time", PURE),
    ("coldframe.timing", "import random", PURE),
    ("coldframe.analysis", "import os", PURE),
    ("coldframe.speech", "import sqlalchemy", PURE),
    ("coldframe.domain", "import coldframe.analysis", DOWNHILL),
    ("coldframe.charts", "import coldframe.speech", DOWNHILL),
    ("coldframe.message", "import coldframe.speech", DOWNHILL),
    ("coldframe.render", "import coldframe.clock", DOWNHILL),
    ("coldframe.store", "import coldframe.engine", DOWNHILL),
    ("coldframe.engine", "import coldframe.render", ENGINE),
    ("coldframe.engine", "import sqlalchemy", ENGINE),
    ("coldframe.engine.register", "import coldframe.engine.round", IN_ENGINE),
    ("coldframe.engine.trial", "import coldframe.engine.reminding", IN_ENGINE),
    (
        "coldframe.engine.core",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING: import coldframe.engine.trial",
        IN_ENGINE,
    ),
    ("coldframe.domain.people", "import coldframe.domain.round", IN_DOMAIN),
    ("coldframe.domain.trial", "import coldframe.domain.round", IN_DOMAIN),
    ("coldframe.speech.trial", "import coldframe.speech.round", IN_SPEECH),
    ("coldframe.chat.slack", "import coldframe.chat.matrix", STRANGERS),
    ("coldframe.chat.room", "import coldframe.store", STORE),
    ("coldframe.cli", "import coldframe.store", STORE),
]


def _skeleton(top: Path, faults: dict[str, str]) -> Path:
    """An empty house with every room that the rules know, and the faulty lines in the rooms named."""
    shutil.copy(TOP / "pyproject.toml", top)
    for module in ("coldframe", *(f"coldframe.{room}" for room in ROOMS.split()), *faults):
        folder = top.joinpath(*module.split("."))
        if module.endswith("__main__"):
            (folder.parent / "__main__.py").write_text("import coldframe.cli\n", encoding="utf-8")
            continue
        folder.mkdir(exist_ok=True)
        (folder / "__init__.py").write_text(faults.get(module, "") + "\n", encoding="utf-8")
    return top


def _lint(top: Path) -> subprocess.CompletedProcess[str]:
    run = "import sys; sys.path.insert(0, '.'); from importlinter.cli import lint_imports_command as run; run()"
    return subprocess.run(
        [sys.executable, "-I", "-c", run, "--no-logo", "--no-cache"], cwd=top, capture_output=True, text=True
    )


def _broken(report: str) -> set[str]:
    return {line.removesuffix(" BROKEN") for line in report.splitlines() if line.endswith(" BROKEN")}


def test_the_real_house_keeps_the_import_rules() -> None:
    """No module of the program imports upward, sideways, or what its room must not touch."""
    done = _lint(TOP)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_clean_skeleton_is_accepted(tmp_path: Path) -> None:
    """The rules accept a house in which nothing is wrong: a fault that is caught below is caught for its own sake."""
    done = _lint(_skeleton(tmp_path, {}))
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(("module", "line", "rule"), FAULTS, ids=[f"{m}: {line}" for m, line, _ in FAULTS])
def test_a_planted_fault_is_caught(tmp_path: Path, module: str, line: str, rule: str) -> None:
    """An import that the rules forbid breaks the rule that is meant for it."""
    done = _lint(_skeleton(tmp_path, {module: line}))
    assert done.returncode == 1
    assert rule in _broken(done.stdout), done.stdout


def test_a_room_without_a_place_is_refused(tmp_path: Path) -> None:
    """A new folder must be given its layer before it may exist."""
    done = _lint(_skeleton(tmp_path, {"coldframe.helpers": ""}))
    assert done.returncode != 0
    assert "helpers" in done.stdout


def test_what_the_engine_must_not_see_is_listed_once_it_exists() -> None:
    """Every room in which pictures, calendars, pages or platform forms are made is closed to the engine."""
    contracts = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]["contracts"]
    closed = next(contract for contract in contracts if contract["name"] == ENGINE)["forbidden_modules"]
    rooms = {
        f"coldframe.{room}" for room in ("calendar", "charts", "render") if any(TOP.glob(f"bot/coldframe/{room}*"))
    }
    assert rooms <= set(closed)


# --- by themselves --------------------------------------------------------------------------------------------------


def test_every_module_can_be_imported_first() -> None:
    """No module needs one that needs it: which of two is asked for first must not decide whether either is there."""
    needs = {name: _needs(name, path) for name, path in _modules().items()}
    left = dict(needs)
    while free := [name for name, wanted in left.items() if not wanted & left.keys()]:
        for name in free:
            del left[name]
    assert sorted(left) == [], "these stand in a circle, or above one"


@cache
def _modules() -> dict[str, Path]:
    top = TOP / "bot"
    found = {".".join(path.relative_to(top).with_suffix("").parts): path for path in top.rglob("*.py")}
    return {name.removesuffix(".__init__"): path for name, path in found.items()}


def _needs(name: str, path: Path) -> set[str]:
    """Modules that it imports while it is read itself; a package stands before what is in it."""
    known, wanted = _modules().keys(), set[str]()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            wanted |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{alias.name}" for alias in node.names} & known
            wanted |= inner or {node.module}
    return (wanted & known) - {name}
