"""The command `coldframe`: light to start, every verb explained, every failure in one line."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

import coldframe.__main__ as entrance
from coldframe import __version__
from coldframe.chat.slack.accounts import NotReached, SetupError
from coldframe.cli import VERBS
from coldframe.cli.team import TeamError
from coldframe.config import SettingsError
from coldframe.errors import STATUSES
from coldframe.languages import UnknownLanguage
from coldframe.listening import CannotListen
from coldframe.sqlite_files import UnusableFile
from coldframe.store.holding import InUse
from coldframe.store.keys import WrongSecret
from coldframe.store.recognising import NoDatabase
from coldframe.timing.zones import UnknownZone
from coldframe.wiring import NoSecret

TOP = Path(__file__).resolve().parents[2]
HEAVY = "aiohttp alembic apscheduler matplotlib numpy pydantic rapidfuzz rich scipy slack_bolt sqlalchemy structlog"


def _probe(*words: str) -> subprocess.CompletedProcess[str]:
    """Runs the command in a fresh interpreter, which then says what it has loaded."""
    code = (
        "import sys; from coldframe.__main__ import main; status = main(sys.argv[1:])\n"
        "print('LOADED', *sorted({name.partition('.')[0] for name in sys.modules}))\n"
        "print('BOT', *sorted(name for name in sys.modules if name.partition('.')[0] == 'coldframe'))\n"
        "sys.exit(status)"
    )
    return subprocess.run([sys.executable, "-c", code, *words], cwd=TOP, capture_output=True, text=True)


def _words_after(mark: str, text: str) -> set[str]:
    return set(next(line for line in text.splitlines() if line.startswith(mark)).split()[1:])


@pytest.mark.parametrize("option", ["--help", "-h", "--version"])
def test_help_and_version_load_no_library_but_click(option: str) -> None:
    """Asking what there is costs no more than reading click."""
    done = _probe(option)
    assert done.returncode == 0, done.stderr
    loaded = _words_after("LOADED", done.stdout)
    assert "click" in loaded
    assert not loaded & set(HEAVY.split())
    assert _words_after("BOT", done.stdout) == {
        "coldframe",
        "coldframe.__main__",
        "coldframe.cli",
        "coldframe.languages",
        "coldframe.errors",
        "coldframe.memory",
    }


def test_help_names_every_verb_with_its_line() -> None:
    """Whoever asks for help sees each verb and what it does."""
    shown = " ".join(_probe("--help").stdout.split())
    assert "--debug" in shown
    for verb, (_, line) in VERBS.items():
        assert f"{verb} {line}" in shown


def test_version_is_that_of_the_package() -> None:
    """The version that is printed is the one that the package carries."""
    assert f"coldframe, version {__version__}" in _probe("--version").stdout


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help(verb: str) -> None:
    """Each verb leads to a command, explains itself and all of its options."""
    command = importlib.import_module(VERBS[verb][0]).command
    assert isinstance(command, click.Command)
    assert VERBS[verb][1].strip()
    assert (command.help or "").strip()
    options = [item for item in command.params if isinstance(item, click.Option)]
    assert [option.name for option in options if not (option.help or option.hidden)] == []


@pytest.fixture
def planted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Verbs that fail in the ways in which verbs fail."""

    @click.command()
    @click.argument("how")
    def command(how: str) -> None:
        failures: dict[str, BaseException] = {
            "wrong": ValueError("the weight must be a number\nfrom 1 to 9"),
            "file": FileNotFoundError(2, "No such file or directory", "round.yaml"),
            "bug": KeyError("lever"),
            "interrupt": KeyboardInterrupt(),
        }
        raise failures[how]

    module = type(sys)("planted_verb")
    module.command = command  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "planted_verb", module)
    monkeypatch.setitem(VERBS, "status", ("planted_verb", "Fail on purpose."))


@pytest.mark.usefixtures("planted")
@pytest.mark.parametrize(
    ("words", "line", "status"),
    [
        (["statsu"], "there is no command “statsu”; did you mean status?", 2),
        (["zzzz"], "there is no command “zzzz”; coldframe --help lists what there is", 2),
        (["--colour"], "No such option", 2),
        (["status"], "Missing argument 'HOW'", 2),
        (["status", "wrong"], "the weight must be a number; from 1 to 9", 2),
        (["status", "file"], "No such file or directory: 'round.yaml'", 1),
        (["status", "bug"], "KeyError: 'lever' (coldframe --debug", 1),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_failure_is_one_line_and_its_status(
    words: list[str], line: str, status: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """What goes wrong is said in one line on the error stream; the status says whether what was asked for is wrong."""
    assert entrance.main(words) == status
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("coldframe: ")
    assert err.count("\n") == 1
    assert line in err


def test_without_a_word_the_help_stands_there_in_its_lines(capsys: pytest.CaptureFixture[str]) -> None:
    """On the error stream, as nothing was done."""
    assert entrance.main([]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("Usage: coldframe") and err.count("\n") > 5


@pytest.mark.usefixtures("planted")
def test_debug_shows_where_an_error_came_from() -> None:
    """With --debug the error itself comes through, with its trace."""
    with pytest.raises(KeyError, match="lever"):
        entrance.main(["--debug", "status", "bug"])


@pytest.mark.usefixtures("planted")
def test_an_interruption_is_no_error(capsys: pytest.CaptureFixture[str]) -> None:
    """Interrupting a verb ends it with the status that shells expect, and without a trace."""
    assert entrance.main(["status", "interrupt"]) == 130
    assert "interrupted" in capsys.readouterr().err


def test_a_shell_completes_verbs_options_and_choices(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the printed script asks, by two variables of the environment."""
    monkeypatch.setenv("_COLDFRAME_COMPLETE", "bash_complete")
    for typed, offered in {
        "coldframe ba": "plain,backup",
        "coldframe backup --re": "plain,--replace",
        "coldframe slack --mode h": "plain,http",
        "coldframe team ex": "plain,export",
    }.items():
        monkeypatch.setenv("COMP_WORDS", typed)
        monkeypatch.setenv("COMP_CWORD", str(len(typed.split()) - 1))
        with pytest.raises(SystemExit) as ended:
            entrance.main([])
        assert ended.value.code == 0
        assert capsys.readouterr().out.split() == [offered]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_of_each_shell_asks_the_command(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert entrance.main(["completion", shell]) == 0
    assert f"_COLDFRAME_COMPLETE={shell}_complete" in capsys.readouterr().out


def test_every_status_means_one_thing() -> None:
    """Errors of settings and of what was asked for end with 2, those of the surroundings with 1."""
    wrong = (SettingsError, NoSecret, WrongSecret, TeamError, UnknownLanguage, SetupError, UnknownZone)
    assert {kind.status for kind in wrong} == {2}
    assert {kind.status for kind in (NoDatabase, CannotListen, InUse, UnusableFile, NotReached)} == {1}
    assert {0, 1, 2, 130} == STATUSES.keys()


def test_all_that_matrix_wants_is_named_at_once(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With what each is, before anything that sounds like a start."""
    for name in [name for name in os.environ if name.startswith("COLDFRAME_")]:
        monkeypatch.delenv(name)
    assert entrance.main(["matrix"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    for name in ("SECRET", "MATRIX_HOMESERVER", "MATRIX_USER", "MATRIX_PASSWORD"):
        assert f"COLDFRAME_{name} is missing; it is the " in err
