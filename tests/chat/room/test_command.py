"""`coldframe room` as it is started: links once, one process per folder, everything there after a restart."""

from __future__ import annotations

import contextlib
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from coldframe.chat.room import reach
from coldframe.cli.team import SAMPLE, TeamError, read_team

TEAM = """
channel: growth
people:
  - {id: ada, name: Ada Marsh, zone: Europe/Berlin}
  - {id: ben, name: "Ben <b>", zone: Asia/Kolkata}
"""


@contextlib.contextmanager
def room(folder: Path, *options: str) -> Iterator[tuple[str, list[str]]]:
    """The command until it says that the room is open: its address and all that it printed."""
    (folder / "team.yaml").write_text(TEAM, encoding="utf-8")
    kept = () if "--rehearse" in options else ("--data", str(folder / "data"))
    words = [sys.executable, "-m", "coldframe", "room", *kept, "--port", "0", *options]
    run = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert run.stdout is not None and run.stderr is not None
    lines: list[str] = []
    try:
        for said in run.stdout:
            lines.append(said)
            if found := re.search(r"(http://\S+?)[./]? ?(Ctrl-C closes|and choose)", said):
                yield found[1], lines
                break
        else:
            raise AssertionError(run.stderr.read())
    finally:
        run.send_signal(signal.SIGTERM)
        assert run.wait(20) == 0
        run.stdout.close()
        run.stderr.close()


def come_in(base: str, word: str) -> str:
    """By a link, as the page at the door does; the cookie."""
    asked = urllib.request.Request(f"{base}/with/{word}", data=b"", headers={"Origin": base}, method="POST")
    with urllib.request.build_opener(NoTurn).open(asked) as answer:
        return str(answer.headers["Set-Cookie"]).partition(";")[0]


class NoTurn(urllib.request.HTTPRedirectHandler):
    """Gives the answer that leads elsewhere."""

    def http_error_303(self, _asked: Any, answer: Any, *_rest: object) -> Any:
        return answer


def status(address: str, cookie: str = "") -> int:
    try:
        with urllib.request.urlopen(urllib.request.Request(address, headers={"Cookie": cookie})) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        with error:
            return error.code


def links(lines: list[str]) -> list[str]:
    return re.findall(r"http://\S+/with/\S+", "".join(lines))


def test_links_are_told_once_and_open_after_a_restart(tmp_path: Path) -> None:
    """Each person's link is printed once, lets one browser in, which a restart forgets as little as a link that
    waits; a new one for one person ends the browser and leaves the others."""
    team = ("--team", str(tmp_path / "team.yaml"))
    with room(tmp_path, *team) as (base, lines):
        words = [link.rpartition("/")[2] for link in links(lines)]
        assert len(words) == 2 and [status(f"{base}/with/{word}") for word in words] == [200, 200]
        assert status(f"{base}/as/ada") == 403
        cookie = come_in(base, words[0])
        assert [status(f"{base}/with/{word}") for word in words] == [403, 200]
        locked = subprocess.run(
            [sys.executable, "-m", "coldframe", "room", *team, "--data", str(tmp_path / "data")],
            capture_output=True,
            text=True,
            check=False,
        )
        assert locked.returncode == 1 and "is in use" in locked.stderr
    assert (tmp_path / "data" / "secret").stat().st_mode & 0o077 == 0
    assert (tmp_path / "data").stat().st_mode & 0o077 == 0
    with room(tmp_path, *team) as (base, lines):
        assert links(lines) == [] and status(f"{base}/room/files/f000001", cookie) == 404
        assert status(f"{base}/with/{words[1]}") == 200
    with room(tmp_path, *team, "--new-link", "ada") as (base, lines):
        assert len(links(lines)) == 1 and status(f"{base}/room/files/f000001", cookie) == 403
        assert status(f"{base}/with/{words[1]}") == 200
    with room(tmp_path, *team, "--new-links") as (base, lines):
        assert len(links(lines)) == 2 and status(f"{base}/with/{words[1]}") == 403


def test_a_new_link_for_nobody_is_refused(tmp_path: Path) -> None:
    """With the name that is wrong, before anything is opened."""
    (tmp_path / "team.yaml").write_text(TEAM, encoding="utf-8")
    words = ["room", "--team", str(tmp_path / "team.yaml"), "--data", str(tmp_path / "data"), "--new-link", "zoe"]
    run = subprocess.run([sys.executable, "-m", "coldframe", *words], capture_output=True, text=True, check=False)
    assert run.returncode == 2 and "names nobody of the team: zoe" in run.stderr
    assert not (tmp_path / "data").exists()


def test_without_a_host_it_is_said_that_only_this_machine_is_let_in(tmp_path: Path) -> None:
    """Before the links, with the words that let others in."""
    with room(tmp_path, "--team", str(tmp_path / "team.yaml")) as (base, lines):
        assert "Only this machine can open the links" in lines[0] and "--host 0.0.0.0" in lines[0]
        assert base.startswith("http://localhost:")
        assert f"kept in {tmp_path / 'data'}" in "".join(lines)


def test_on_a_network_the_links_name_this_machine_as_others_see_it(tmp_path: Path) -> None:
    """They open as printed; a page that calls the room by a name of its own is refused."""
    with room(tmp_path, "--team", str(tmp_path / "team.yaml"), "--host", "0.0.0.0") as (base, lines):
        where = base.removeprefix("http://")
        assert not any("Only this machine" in line for line in lines)
        assert all(link.startswith(f"{base}/with/") for link in links(lines))
        here = f"http://localhost:{where.rpartition(':')[2]}/with/{links(lines)[0].rpartition('/')[2]}"
        with urllib.request.urlopen(urllib.request.Request(here, headers={"Host": where})) as answer:
            assert answer.status == 200
        with pytest.raises(urllib.error.HTTPError, match="421"):
            urllib.request.urlopen(urllib.request.Request(here, headers={"Host": "elsewhere.example"}))


@pytest.mark.parametrize(
    ("host", "only"),
    [
        ("127.0.0.1", True),
        ("localhost", True),
        ("::1", True),
        ("0.0.0.0", False),
        ("::", False),
        ("box.example", False),
    ],
)
def test_which_addresses_only_this_machine_reaches(host: str, only: bool) -> None:
    assert reach.only_here(host) is only


def test_a_name_that_was_given_comes_first() -> None:
    """Then the address itself, and this machine's own name for itself."""
    assert reach.names("198.51.100.7", ("given.example",)) == ("given.example", "198.51.100.7", "localhost")


def test_rehearsal_opens_for_everybody_in_the_list(tmp_path: Path) -> None:
    """A rehearsal needs no team file and no link."""
    with room(tmp_path, "--rehearse") as (base, lines):
        assert links(lines) == [] and status(f"{base}/as/ada") == 200 and status(f"{base}/as/nobody") == 403


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("people: [", "line 1: a bracket or a brace is opened and not closed"),
        ("channel: growth", "people: is missing"),
        ("people: [{id: a, name: A}]", "holds 1, and needs at least 2"),
        ("people: [{id: a, name: A}, {id: a, name: B}]", "a stands there twice"),
        ("people: [{id: a, name: A, zone: Berlin}, {id: b, name: B}]", "Berlin is no time zone"),
        ("people: [{id: a, name: A, mail: x}, {id: b, name: B}]", "people.0.mail"),
        ("people: [{id: coldframe, name: A}, {id: b, name: B}]", "the bot's own id"),
    ],
)
def test_wrong_team_file_is_named_with_what_is_wrong(tmp_path: Path, text: str, words: str) -> None:
    """Each mistake in the file is told with its place and the right form."""
    path = tmp_path / "team.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TeamError, match=re.escape(words)):
        read_team(path)


def test_sample_team_lives_in_zones_that_exist() -> None:
    """The invented team can be used as it is."""
    assert SAMPLE.model_validate(SAMPLE.model_dump()) == SAMPLE
