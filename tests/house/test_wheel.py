"""What `python -m build` makes, elsewhere: the wheel of the packed sources, installed into an environment of its own
and run in an empty folder, with everything in it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import sysconfig
import tarfile
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from coldframe import __version__

pytest.importorskip("build")
pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
TOP = Path(__file__).resolve().parents[2]
TEAM = "channel: growth\npeople:\n  - {id: ada, name: Ada Marsh}\n  - {id: ben, name: Ben Okri-Lund}\n"


class Elsewhere:
    """An environment that has the wheel, and an empty folder beside it."""

    def __init__(self, root: Path) -> None:
        self.home, self.python = root / "empty", root / "venv" / "bin" / "python"
        self.home.mkdir()
        built = root / "wheel"
        pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
        _done([sys.executable, "-m", "build", "--no-isolation", "--outdir", str(built), str(TOP)], root)
        (self.sources,), (wheel,) = built.glob("*.tar.gz"), built.glob("*.whl")  # the wheel is built of the sources
        _done([sys.executable, "-m", "venv", "--without-pip", str(root / "venv")], root)
        _done([*pip, "--python", str(self.python), "install", "--no-deps", "--no-index", str(wheel)], root)
        site = root / "venv" / "lib" / f"python{sysconfig.get_python_version()}" / "site-packages"
        (site / "libraries.pth").write_text(sysconfig.get_path("purelib") + "\n")  # no .pth in there is read

    def command(self, *words: str) -> list[str]:
        return [str(self.python.with_name("coldframe")), *words]

    @property
    def environment(self) -> dict[str, str]:
        """Nothing of this one, and a home of its own."""
        return {"HOME": str(self.home), "PATH": os.defpath, "LANG": "C"}

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self.command(*words), cwd=self.home, env=self.environment, capture_output=True, text=True, encoding="utf-8"
        )


def _done(command: list[str], folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Elsewhere:
    return Elsewhere(tmp_path_factory.mktemp("elsewhere"))


def test_what_runs_is_what_was_installed(elsewhere: Elsewhere) -> None:
    code = "import coldframe; print(coldframe.__file__)"
    done = subprocess.run(
        [str(elsewhere.python), "-c", code], env=elsewhere.environment, capture_output=True, text=True
    )
    assert str(elsewhere.python.parents[1]) in done.stdout
    assert elsewhere.run("--version").stdout == f"coldframe, version {__version__}\n"


def test_the_sources_are_packed_whole(elsewhere: Elsewhere) -> None:
    """What a packager needs to build, test and run it, and nothing that was made here."""
    with tarfile.open(elsewhere.sources) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    for needed in ("pyproject.toml", "README.md", "deploy/LICENSE", "deploy/coldframe.service", "tests/conftest.py"):
        assert needed in names
    assert not [name for name in names if name.startswith((".venv", ".git/", "demo/output")) or "__pycache__" in name]


@pytest.mark.parametrize(
    "words",
    ["manual reference", "settings", "slack-manifest", "size --baseline 4% --target 5% --weekly 900"],
)
def test_what_only_prints_works_in_an_empty_folder(elsewhere: Elsewhere, words: str) -> None:
    done = elsewhere.run(*words.split())
    assert (done.returncode, done.stderr) == (0, "") and done.stdout


def test_the_doctor_names_what_is_not_set_yet(elsewhere: Elsewhere) -> None:
    done = elsewhere.run("doctor")
    assert done.returncode == 1 and "COLDFRAME_SECRET is missing" in done.stdout and "Traceback" not in done.stderr


@pytest.fixture
def room(elsewhere: Elsewhere) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A room that is open, and its address."""
    (elsewhere.home / "team.yaml").write_text(TEAM, encoding="utf-8")
    process = subprocess.Popen(
        elsewhere.command("room", "--team", "team.yaml", "--port", "0"), cwd=elsewhere.home, env=elsewhere.environment,
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    line = next(line for line in process.stdout if line.startswith("The room is open at "))
    yield process, line.split()[5].rstrip(".")
    process.kill()
    process.communicate()


def test_a_room_opens_is_served_and_ends(elsewhere: Elsewhere, room: tuple[subprocess.Popen[str], str]) -> None:
    """With its page, its database brought up from nothing, and its data where the system keeps a user's."""
    process, address = room
    with urllib.request.urlopen(f"{address}/") as answer:
        assert answer.status == 200 and b"coldframe" in answer.read()
    process.send_signal(signal.SIGTERM)
    assert process.wait(20) == 0
    assert [path.name for path in elsewhere.home.rglob("bot.db")] == ["bot.db"]
