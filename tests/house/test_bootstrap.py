"""The bootstrap of the two commands: old Pythons, its one-line failures, and a stamp that does not lie.

A whole installation takes a minute and the network, so it is not repeated here: `python3 tests` is one.
"""

from __future__ import annotations

import ast
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import ModuleType

import pytest

from tests.unprivileged import unprivileged

pytestmark = pytest.mark.xdist_group("bootstrap")  # one environment serves them all

TOP = Path(__file__).resolve().parents[2]
OLDEST = (3, 4)  # the oldest syntax that this Python's parser can still tell apart
UNPUBLISHED = "coldframe-unpublished==1 \\\n    --hash=sha256:" + "0" * 64 + "\n"
FIRST_READ = ("deploy/bootstrap.py", "demo/__main__.py", "tests/__main__.py")


def _fresh() -> ModuleType:
    spec = importlib.util.spec_from_file_location("bootstrap_under_test", TOP / "deploy" / "bootstrap.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def bootstrap() -> ModuleType:
    return _fresh()


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """The few files of a clone that the bootstrap reads, with a lock of one package that nobody publishes."""
    return _cloned(tmp_path)


def _cloned(top: Path) -> Path:
    (top / "deploy").mkdir()
    (top / "demo").mkdir()
    shutil.copy(TOP / "deploy" / "bootstrap.py", top / "deploy")
    (top / "demo" / "__main__.py").write_text(
        "import os, sys\n"
        "sys.path.insert(0, os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), 'deploy'))\n"
        "import bootstrap\n"
        "bootstrap.ROOM_NEEDED[bootstrap.RUNTIME] = int(os.environ.get('ROOM', 1))\n"
        "bootstrap.start(__file__, bootstrap.RUNTIME)\n"
        "print('inside', sys.prefix, sys.path[0], *sys.argv[1:])\n",
        encoding="utf-8",
    )
    _lock(top, UNPUBLISHED)
    return top


def _lock(top: Path, text: str) -> None:
    (top / "deploy" / "requirements.lock").write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def starts(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[subprocess.CompletedProcess[str]]]:
    """A clone that was interrupted half-way, then set up by two starts at once; its lock is empty."""
    top = _cloned(tmp_path_factory.mktemp("clone"))
    _lock(top, "")
    remains = top / ".venv" / "lib" / "half_a_package.py"
    remains.parent.mkdir(parents=True)
    remains.touch()
    (top / ".venv" / "coldframe-unfinished").touch()
    with ThreadPoolExecutor(2) as both:
        return top, list(both.map(lambda seed: _start(top, "--seed", seed), ("1", "2")))


@pytest.fixture(scope="module")
def ready(starts: tuple[Path, list[subprocess.CompletedProcess[str]]]) -> Path:
    """A clone that is set up."""
    return starts[0]


@pytest.fixture
def outdated(ready: Path, tmp_path: Path) -> Path:
    """A clone whose environment is sound, but lacks the one package that its lock now asks for."""
    top = tmp_path / "outdated"
    shutil.copytree(ready, top, symlinks=True)
    _lock(top, UNPUBLISHED)
    return top


def _start(top: Path, *words: str, **settings: str) -> subprocess.CompletedProcess[str]:
    unset = ("PIP_FIND_LINKS", "PIP_INDEX_URL", "PIP_EXTRA_INDEX_URL")
    environment = {name: value for name, value in os.environ.items() if name not in unset}
    environment.update({"PIP_CONFIG_FILE": os.devnull, "PIP_NO_INDEX": "1"}, **settings)
    environment = {name: value for name, value in environment.items() if value}
    command = [_outer_python(), "demo", *words]
    return subprocess.run(command, cwd=top, env=environment, capture_output=True, text=True)


def _outer_python() -> str:
    """The Python that made the environment in which the tests run: users start with such a one."""
    return os.path.realpath(getattr(sys, "_base_executable", sys.executable))


def _last(text: str) -> str:
    return text.splitlines()[-1] if text else ""


# --- old Pythons --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FIRST_READ)
def test_what_runs_first_can_be_read_by_an_old_python(name: str) -> None:
    """A Python that is too old must get as far as being told so, so these files use no newer syntax."""
    ast.parse((TOP / name).read_text(encoding="utf-8"), feature_version=OLDEST)


@pytest.mark.parametrize("name", FIRST_READ)
def test_what_runs_first_imports_only_the_standard_library(name: str) -> None:
    """Before the environment is there, nothing else is."""
    tree = ast.parse((TOP / name).read_text(encoding="utf-8"))
    imported = {
        alias.name.partition(".")[0] for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
    }
    assert imported - set(sys.stdlib_module_names) <= {"bootstrap"}


@pytest.mark.parametrize("version", [(3, 6, 15), (3, 10, 14)])
def test_an_old_python_is_refused_in_one_line(
    version: tuple[int, int, int], clone: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A Python below 3.11 is told which one is needed, with exit status 2, and nothing is written."""
    module = _fresh()
    monkeypatch.setattr(module.sys, "version_info", version)
    with pytest.raises(SystemExit) as ended:
        module.start(str(clone / "demo" / "__main__.py"), module.RUNTIME)
    monkeypatch.undo()
    err = capsys.readouterr().err
    assert ended.value.code == 2
    assert err.count("\n") == 1
    assert f"needs Python 3.11 or newer, this is {version[0]}.{version[1]}" in err
    assert not (clone / ".venv").exists()


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 14, 2), (4, 0, 0)])
def test_a_new_python_is_accepted(bootstrap: ModuleType, version: tuple[int, int, int]) -> None:
    """3.11 and everything after it is new enough."""
    bootstrap.check_version(version)


# --- failures -----------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_an_unreachable_registry_is_said_in_one_line(outdated: Path) -> None:
    """Without the network the last line says so, the exit status is 2, and nothing was changed."""
    done = _start(outdated, PIP_NO_INDEX="", PIP_INDEX_URL="http://127.0.0.1:9/simple")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "the package registry cannot be reached" in _last(done.stderr)
    assert "Connection refused" in _last(done.stderr)
    assert (outdated / ".venv.log").read_text(encoding="utf-8").count("Connection refused") > 1
    assert "Traceback" not in done.stderr
    assert not (outdated / ".venv" / "coldframe-unfinished").exists()


def test_a_package_that_is_not_to_be_had_is_named(outdated: Path) -> None:
    """When pip looks and does not find, the package is named in the one line, and all of its words stand in a file;
    what was there goes on working for the lock that it was made for."""
    stamp = (outdated / ".venv" / "coldframe-ready.json").read_text(encoding="utf-8")
    done = _start(outdated)
    assert done.returncode == 2
    assert "coldframe-unpublished==1" in _last(done.stderr)
    assert _last(done.stderr).endswith(f"pip's own words stand in {outdated / '.venv.log'}")
    assert "No matching distribution" in (outdated / ".venv.log").read_text(encoding="utf-8")
    assert (outdated / ".venv" / "coldframe-ready.json").read_text(encoding="utf-8") == stamp


@pytest.mark.slow
def test_what_does_not_start_stays_until_a_new_one_is_whole(outdated: Path) -> None:
    """The true reason is said; where no new one can be made, nothing of the old one is gone."""
    (outdated / ".venv" / "bin" / "python").unlink()
    (outdated / ".venv" / "bin" / "python").write_text("#!/bin/sh\necho 'a library is missing' >&2; exit 3\n")
    (outdated / ".venv" / "bin" / "python").chmod(0o755)
    before = {path for path in (outdated / ".venv").rglob("*")}
    done = _start(outdated)
    assert done.returncode == 2 and "does not start, so a new one is made: a library is missing" in done.stderr
    assert {path for path in (outdated / ".venv").rglob("*")} == before
    _lock(outdated, "")
    done = _start(outdated)
    assert done.returncode == 0 and not list(outdated.glob(".venv.[no]*"))
    scripts = [path.read_bytes() for path in (outdated / ".venv" / "bin").iterdir() if path.name.startswith("pip")]
    assert scripts and all(b".venv.new" not in script for script in scripts)


ASCII = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


@pytest.mark.skipif(os.name == "nt", reason="names of files have one encoding there")
@pytest.mark.slow
def test_a_locale_without_other_scripts_harms_nothing(ready: Path, tmp_path: Path) -> None:
    """In a folder called in another script: what was set up under one locale is entered under the other as it is, and
    what is set up there works."""
    top = tmp_path / "Gärtnerei 苗床"
    shutil.copytree(ready, top, symlinks=True)
    first = _start(top, "--seed", "1", **ASCII)
    assert first.returncode == 0 and "Traceback" not in first.stderr, first.stderr
    made = (top / ".venv" / "coldframe-ready.json").stat().st_ino
    for settings in (ASCII, {"PYTHONUTF8": "1"}):
        again = _start(top, "--seed", "2", **settings)
        assert again.stderr == "" and again.stdout.split()[-1] == "2"
    assert (top / ".venv" / "coldframe-ready.json").stat().st_ino == made
    (top / ".venv" / "coldframe-ready.json").rename(top / ".venv" / "coldframe-unfinished")
    anew = _start(top, "--seed", "3", **ASCII)
    assert anew.returncode == 0 and "ready" in anew.stderr, anew.stderr


OTHERS = [name for name in ("python3.11", "python3.12", "python3.13", "python3.14") if shutil.which(name)]


@pytest.mark.slow
@pytest.mark.parametrize("name", OTHERS)
def test_every_python_that_is_new_enough_sets_up(name: str, clone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that this machine has; one that is on the path and does not start is none."""
    if subprocess.run([name, "-c", "import venv, ensurepip"], capture_output=True).returncode:
        pytest.skip(f"{name} does not start here, or cannot make environments")
    _lock(clone, "")
    monkeypatch.setattr(sys.modules[__name__], "_outer_python", lambda: name)
    for seed in ("1", "2"):
        done = _start(clone, "--seed", seed)
        assert done.returncode == 0 and done.stdout.split()[-1] == seed, done.stderr


def test_too_little_room_is_said_before_anything_is_written(clone: Path) -> None:
    """A disk that cannot hold the environment is refused with what is free and what is needed."""
    done = _start(clone, ROOM="999999999")
    assert done.returncode == 2
    assert done.stderr.startswith("coldframe: the disk is full: ")
    assert done.stderr.count("\n") == 1
    assert not (clone / ".venv").exists()


def test_a_missing_lock_is_named(clone: Path) -> None:
    """A clone without its lock says which file is missing."""
    (clone / "deploy" / "requirements.lock").unlink()
    done = _start(clone)
    assert done.returncode == 2
    assert "deploy/requirements.lock cannot be read" in _last(done.stderr)


def test_a_file_in_the_way_is_named(clone: Path) -> None:
    """A file called .venv is never removed; the user is told that it is in the way."""
    (clone / ".venv").write_text("mine", encoding="utf-8")
    done = _start(clone)
    assert done.returncode == 2
    assert "is in the way" in _last(done.stderr)
    assert (clone / ".venv").read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(os.name == "nt", reason="folders are closed in another way there")
def test_a_folder_that_cannot_be_written_is_said_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """In a folder that is closed to the user the one line says so, with exit status 2."""
    module = _fresh()
    with tempfile.TemporaryDirectory() as name:
        top = _cloned(Path(name))
        for folder in (top, top / "deploy", top / "demo"):
            folder.chmod(0o555)
        try:
            with unprivileged(), pytest.raises(SystemExit) as ended:
                module.start(str(top / "demo" / "__main__.py"), module.RUNTIME)
        finally:
            top.chmod(0o755)
            (top / "deploy").chmod(0o755)
            (top / "demo").chmod(0o755)
    err = capsys.readouterr().err
    assert ended.value.code == 2
    assert err.count("\n") == 1
    assert "the folder cannot be written" in err


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_a_python_without_its_environment_module_is_told_what_to_install(
    missing: str, bootstrap: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some systems split these modules off; the line names the module and the package that brings it."""
    monkeypatch.setitem(sys.modules, missing, None)
    with pytest.raises(bootstrap.Trouble, match=f"lacks its module {missing}; install it .*python3-venv"):
        bootstrap.make_environment(str(tmp_path / ".venv"), str(tmp_path))


@pytest.mark.parametrize(
    ("said", "meaning"),
    [
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "disk is full"),
        ("ERROR: [Errno 122] Disk quota exceeded", "disk is full"),
        ("OSError: [Errno 30] Read-only file system: 'x'", "cannot be written"),
        ("WARNING: Retrying (Retry(total=0)) after connection broken", "registry cannot be reached"),
        ("ReadTimeoutError: Read timed out.", "registry cannot be reached"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "not the one that the lock"),
        ("Collecting networkx==3.6.1\nERROR: Something else went wrong", "failed: ERROR: Something else"),
        ("", "no word about why"),
    ],
)
def test_what_pip_says_becomes_one_line(bootstrap: ModuleType, said: str, meaning: str) -> None:
    """Out of pip's many lines comes one that says what it means for the user."""
    line = bootstrap.explain(said, "failed")
    assert meaning in line
    assert "\n" not in line


# --- the stamp ----------------------------------------------------------------------------------------------------


def test_an_interrupted_set_up_begins_anew(ready: Path) -> None:
    """What an interruption left is not trusted: the next start clears it away and finishes."""
    left = {path.name for path in (ready / ".venv").rglob("*")}
    assert "coldframe-ready.json" in left
    assert not left & {"half_a_package.py", "coldframe-unfinished"}


def test_two_starts_at_once_set_up_once(starts: tuple[Path, list[subprocess.CompletedProcess[str]]]) -> None:
    """The second start waits for the first, then finds everything there; both go on with their own words."""
    _, done = starts
    assert [start.returncode for start in done] == [0, 0], done
    assert [start.stdout.split()[-1] for start in done] == ["1", "2"]
    assert sum("setting up in" in start.stderr for start in done) == 1


def test_a_ready_environment_is_entered_without_a_word(ready: Path) -> None:
    """The second start sets nothing up: it goes straight on, inside, with the user's words."""
    done = _start(ready, "--seed", "7")
    assert done.stderr == ""
    assert done.stdout.split() == ["inside", str(ready / ".venv"), str(ready), "--seed", "7"]


def test_the_command_stands_beside_the_environments_python(ready: Path) -> None:
    """After the set-up `coldframe` is there and runs the project from where it stands."""
    (ready / "bot" / "coldframe").mkdir(parents=True, exist_ok=True)
    (ready / "bot" / "coldframe" / "__main__.py").write_text(
        "import sys; print('verb', *sys.argv[1:])", encoding="utf-8"
    )
    command = ready / ".venv" / "bin" / "coldframe"
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run([command, "digest"], cwd=ready.parent, env=environment, capture_output=True, text=True)
    assert done.stdout == "verb digest\n"


@pytest.mark.parametrize(
    "change",
    [{"locks": {"requirements.lock": "0" * 64}}, {"python": [3, 10]}, {"imports": "/elsewhere"}, {"locks": None}],
    ids=["another lock", "another Python", "another folder", "nonsense"],
)
def test_a_stamp_for_something_else_does_not_count(
    bootstrap: ModuleType, ready: Path, change: dict[str, object]
) -> None:
    """The environment is ready only for the lock, the Python and the folder that it was made for."""
    wanted = bootstrap.hashes(str(ready), bootstrap.RUNTIME)
    stamp = Path(bootstrap.stamp_of(str(ready)))
    before = stamp.read_text(encoding="utf-8")
    assert bootstrap.is_ready(str(ready), wanted)
    try:
        stamp.write_text(json.dumps({**json.loads(before), **change}), encoding="utf-8")
        assert not bootstrap.is_ready(str(ready), wanted)
        stamp.write_text(before[: len(before) // 2], encoding="utf-8")
        assert not bootstrap.is_ready(str(ready), wanted)
    finally:
        stamp.write_text(before, encoding="utf-8")


def test_the_tests_environment_serves_the_demo_but_not_the_reverse(bootstrap: ModuleType, clone: Path) -> None:
    """The tests' lock holds the runtime's, so an environment made for the tests is ready for the demo too."""
    (clone / "deploy" / "requirements-tests.lock").write_text("x", encoding="utf-8")
    demo, tests = (bootstrap.hashes(str(clone), lock) for lock in (bootstrap.RUNTIME, bootstrap.TESTS))
    python = Path(bootstrap.python_of(bootstrap.home_of(str(clone))))
    python.parent.mkdir(parents=True)
    python.touch()
    bootstrap.put_stamp(str(clone), tests)
    assert bootstrap.is_ready(str(clone), demo)
    bootstrap.put_stamp(str(clone), demo)
    assert not bootstrap.is_ready(str(clone), tests)
