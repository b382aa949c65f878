"""What the committed files hold, and how large they may grow."""

from __future__ import annotations

import ast
import functools
import re
import statistics
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
LOCKS = ("requirements.lock", "requirements-tests.lock")

# Written in halves, so that this file does not hold what it looks for.
REGISTRIES = tuple(
    first + second
    for first, second in (
        ("py" + "pi", ".org"),
        ("pythonhosted", ".org"),
        ("registry.npm", "js"),
        ("npmjs", ".com"),
        ("deb.debian", ".org"),
        ("crates", ".io"),
        ("proxy.golang", ".org"),
    )
)
MACHINE_PATH = re.compile(r"(?<![\w.$}\-/])/(?:work|root|tmp|home/[a-z]+|opt/wheels|opt/py[a-z]+)/")

MAX_LINES_OF_A_MODULE = 400
MAX_LINES_OF_A_FUNCTION = 60
LONG_FUNCTIONS: dict[str, str] = {
    "bot/coldframe/store/migrations/versions/0001_first.py:upgrade": "the first schema is one list of tables",
}
"""path:function -> why it is one function all the same."""


@functools.cache
def _committed() -> tuple[str, ...]:
    done = subprocess.run(["git", "ls-files", "-z"], cwd=TOP, capture_output=True, text=True)
    if done.returncode:
        pytest.skip("no git here: which files are committed cannot be told")
    return tuple(name for name in done.stdout.split("\0") if name and (TOP / name).is_file())


def _texts() -> Iterator[tuple[str, str]]:
    for name in _committed():
        try:
            yield name, (TOP / name).read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue


def test_no_committed_file_carries_a_registry_address() -> None:
    """Where packages come from is the user's setting, so no file of the project names a registry."""
    found = [(name, host) for name, text in _texts() for host in REGISTRIES if host in text.lower()]
    assert found == []


def test_no_committed_file_carries_a_path_of_one_machine() -> None:
    """No file speaks of folders that only one machine has."""
    found = [
        f"{name}: {line.strip()[:80]}"
        for name, text in _texts()
        for line in text.splitlines()
        if MACHINE_PATH.search(line)
    ]
    assert found == []


# --- the locks ----------------------------------------------------------------------------------------------------


def _pins(lock: str) -> dict[str, set[str]]:
    text = (TOP / "deploy" / lock).read_text(encoding="utf-8")
    found: dict[str, set[str]] = {}
    for name, version in re.findall(r"(?m)^([a-z0-9._-]+)==(\S+)", text):
        found.setdefault(name, set()).add(version)
    return found


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_pins_with_hashes_and_nothing_else(lock: str) -> None:
    """Every line of a lock is a pinned version or a hash of it; no comment, no address, no setting."""
    pin = re.compile(r"[a-z0-9._-]+==[^\s;]+( ; [^\\]+)? \\|    --hash=sha256:[0-9a-f]{64}( \\)?")
    text = (TOP / "deploy" / lock).read_text(encoding="utf-8")
    assert [line for line in text.splitlines() if not pin.fullmatch(line)] == []


def test_the_locks_agree() -> None:
    """The tests run with the very versions that the program runs with."""
    runtime, tests = _pins(LOCKS[0]), _pins(LOCKS[1])
    assert {name: tests.get(name) for name in runtime} == runtime


def test_the_locks_hold_what_the_project_asks_for() -> None:
    """A dependency that is added must be locked before it may be used."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]

    def names(wanted: list[str]) -> set[str]:
        return {re.split(r"[\[<>=~ ;]", item)[0].lower() for item in wanted} - {project["name"]}

    extras = project["optional-dependencies"]
    assert names(project["dependencies"] + extras["postgres"]) <= set(_pins(LOCKS[0]))
    assert names(extras["test"] + extras["meaning"]) <= set(_pins(LOCKS[1]))


# --- sizes --------------------------------------------------------------------------------------------------------


def _modules() -> list[tuple[str, str]]:
    return [
        (path.relative_to(TOP).as_posix(), path.read_text(encoding="utf-8"))
        for path in sorted((TOP / "bot").rglob("*.py"))
    ]


def _functions() -> dict[str, int]:
    return {
        f"{name}:{node.name}": (node.end_lineno or node.lineno) - node.lineno + 1
        for name, text in _modules()
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }


def test_modules_stay_small() -> None:
    """A module of the program fits in the head: at most 400 lines."""
    lengths = {name: len(text.splitlines()) for name, text in _modules()}
    assert {name: lines for name, lines in lengths.items() if lines > MAX_LINES_OF_A_MODULE} == {}


def test_functions_stay_small() -> None:
    """A function fits on a screen: at most 60 lines, or a written reason; most are far shorter."""
    lengths = _functions()
    long = {name: lines for name, lines in lengths.items() if lines > MAX_LINES_OF_A_FUNCTION}
    assert {name: lines for name, lines in long.items() if name not in LONG_FUNCTIONS} == {}
    assert set(LONG_FUNCTIONS) <= set(long), "an exception that is no longer needed"
    spread = statistics.quantiles(lengths.values(), n=10)
    assert spread[4] <= 6
    assert spread[8] <= 16
