"""The image without an engine: the steps of its file done in a folder, as a user without rights, and what comes of them
started as an engine would."""

from __future__ import annotations

import os
import pickle
import shutil
import signal
import socket
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from coldframe import __version__
from tests.image import CONTAINERFILE, TOP, Image, instructions

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
NOBODY = 65534
TEAM = "channel: growth\npeople:\n  - {id: ada, name: Ada Marsh}\n  - {id: ben, name: Ben Okri-Lund}\n"
MAKE = """
import pickle, sys
from pathlib import Path
top, folder, libraries, python = sys.argv[1:]
sys.path.insert(0, top)
from tests.image import Image
image = Image(Path(folder), Path(libraries), Path(python)).made()
Path(folder, "made").write_bytes(pickle.dumps(image))
"""
NOT_NEEDED = shutil.ignore_patterns("site-packages", "test", "__pycache__", "*.a", "tkinter", "idlelib")


def as_nobody(command: list[str], **named: object) -> subprocess.Popen[str]:
    """Root becomes nobody; others are nobody special already."""
    user = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if os.geteuid() == 0 else {}
    return subprocess.Popen(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, **user, **named)  # type: ignore[call-overload, no-any-return]


def done_as_nobody(command: list[str], **named: object) -> tuple[int, str, str]:
    """Its status, and what it said on either stream."""
    with as_nobody(command, **named) as running:
        said, problem = running.communicate(timeout=200)
        return running.returncode, said, problem


@pytest.fixture(scope="module")
def image() -> Iterator[Image]:
    """Made by nobody, in a folder of theirs; then what an engine keeps from writing is kept from it."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        if os.geteuid() == 0:
            os.chown(folder, NOBODY, NOBODY)
        python, library = a_python(folder), {"LD_LIBRARY_PATH": str(folder / "python" / "lib")}  # where it is a copy
        environment = {"PATH": os.defpath, "HOME": name, "PYTHONDONTWRITEBYTECODE": "1", **library}
        libraries = folder / "libraries"  # below /tmp, which is also a path of the image
        libraries.symlink_to(sysconfig.get_path("purelib"))
        given = [str(TOP), name, str(libraries), str(python)]
        status, said, problem = done_as_nobody([str(python), "-c", MAKE, *given], env=environment, cwd=name)
        assert status == 0, said + problem
        image: Image = pickle.loads((folder / "made").read_bytes())
        image.settings |= library
        yield image


def a_python(folder: Path) -> Path:
    """One that whoever has no rights can start: this one, or a copy of it."""
    if _starts(sys.executable):
        return Path(sys.executable)
    shutil.copytree(sys.base_prefix, folder / "python", symlinks=True, ignore=NOT_NEEDED)
    python = folder / "python" / "bin" / f"python{sysconfig.get_python_version()}"
    if not _starts(str(python)):
        pytest.skip("whoever has no rights can start no Python here")
    return python


def _starts(python: str) -> bool:
    try:
        return done_as_nobody([python, "-c", "import ensurepip, venv"], cwd="/")[0] == 0
    except OSError:
        return False


def ran(image: Image, *words: str, **settings: str) -> tuple[int, str, str]:
    """As the image starts it."""
    command = [*image.words("ENTRYPOINT"), *words]
    return done_as_nobody(command, env=image.environment(**settings), cwd=image.below("/data"))


def test_every_line_of_its_file_is_done_or_known() -> None:
    """What only an engine does is looked at by the other tests here."""
    by_an_engine = {"USER", "VOLUME", "EXPOSE", "STOPSIGNAL", "HEALTHCHECK", "ENTRYPOINT", "CMD"}
    names = {name for name, _ in instructions(CONTAINERFILE.read_text(encoding="utf-8"))}
    assert names - by_an_engine == {name for name in names if hasattr(Image, f"_{name.lower()}")}


def test_it_holds_the_bot_and_nothing_to_build_or_fetch_with(image: Image) -> None:
    """The program of the lock and the wheel, nothing of the sources, no pip."""
    assert ran(image, "--version") == (0, f"coldframe, version {__version__}\n", "")
    holds = {path.name for path in image.root.iterdir()}
    assert holds == {"bin", "opt", "data", "tmp"}  # the first is what its base has
    assert not list((image.root / "opt/coldframe").rglob("pip*/__main__.py"))
    assert not list((image.root / "opt/coldframe/bin").glob("pip*"))


def test_without_settings_it_says_which_and_ends(image: Image) -> None:
    """By the words that stand in the file for a start."""
    status, said, problem = ran(image, *image.words("CMD"))
    assert (status, said) == (2, "") and "COLDFRAME_SECRET is missing" in problem and "Traceback" not in problem


def test_it_runs_where_only_data_and_tmp_can_be_written(image: Image) -> None:
    """A room opens, is found healthy by the file's own check, and ends by the signal that the file names."""
    data, program = Path(image.below("/data")), image.root / "opt"
    before = {path: path.stat().st_mtime_ns for path in program.rglob("*")}
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    done_as_nobody(["sh", "-c", f"chmod -R a-w {program}; printf '%s' '{TEAM}' > {data}/team.yaml"])
    command = [*image.words("ENTRYPOINT"), "room", "--team", "team.yaml", "--port", "0"]
    settings = image.environment(COLDFRAME_WATCH_PORT=port, COLDFRAME_SECRET="a passphrase for tests")
    running = as_nobody(command, env=settings, cwd=str(data))
    try:
        assert running.stdout is not None
        opened = any(line.startswith("The room is open at ") for line in running.stdout)
        assert opened, running.communicate()[1]
        check = [word.replace("9464", port) for word in image.words("HEALTHCHECK")]
        assert done_as_nobody(check, env=image.environment(), cwd=str(data))[0] == 0
        running.send_signal(getattr(signal, image.says["STOPSIGNAL"]))
        assert running.wait(20) == 0
    finally:
        running.kill()
        running.communicate()
    assert {path: path.stat().st_mtime_ns for path in program.rglob("*")} == before
    done_as_nobody(["chmod", "-R", "u+w", str(program)])
