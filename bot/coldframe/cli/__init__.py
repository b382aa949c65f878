"""The verbs of the command line, found by name and imported only when they run.

`coldframe --help` and `--version` import click and nothing else. A verb is a module in this folder that holds a
click command named `command`; it is known once it has a line in `VERBS`.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from coldframe import __version__
from coldframe.languages import ENGLISH, UnknownLanguage, speak

if TYPE_CHECKING:  # `--help` must not wait for pydantic
    from pathlib import Path

    from coldframe.config import Settings

VERBS: dict[str, tuple[str, str]] = {
    "slack-manifest": ("coldframe.cli.slack_manifest", "Print what is pasted into Slack's page for a new app."),
    "completion": ("coldframe.cli.completion", "Print what lets a shell complete words with Tab."),
    "manual": ("coldframe.cli.manual", "Print a page of the manual: commands and settings, or a guide for a person."),
    "backup": ("coldframe.cli.backup", "Keep a copy of the database in a file, while the bot runs."),
    "restore": ("coldframe.cli.restore", "Put such a copy in the place of the database."),
    "digest": ("coldframe.cli.digest", "Print what runs, what is late and what was learnt."),
    "duplicates": ("coldframe.cli.duplicates", "Propose which notes of a file say the same."),
    "doctor": ("coldframe.cli.doctor", "Check what the bot needs, and say what to do."),
    "keys": ("coldframe.cli.keys", "Check the secret of the database, or put another in its place."),
    "matrix": ("coldframe.cli.matrix", "Run the bot on Matrix, encrypted."),
    "numbers": ("coldframe.cli.numbers", "Send a trial's weeks from a CSV file to its web address."),
    "outbox": ("coldframe.cli.outbox", "List what waits to be sent and why; try it again, or drop it."),
    "report": ("coldframe.cli.report", "Make one page of a round, a trial or a year, to print or hand on."),
    "room": ("coldframe.cli.room", "Open a room in the browser in which a team takes part in a round."),
    "settings": ("coldframe.cli.settings_file", "Print an environment file with every setting explained."),
    "slack": ("coldframe.cli.slack", "Run the bot on Slack."),
    "team": (
        "coldframe.cli.teams",
        "List the teams that are kept; export or erase one, or enter what it tried before.",
    ),
    "size": ("coldframe.cli.size", "Say how many weeks a success measure needs."),
}
"""Verb -> (module that holds its `command`, what it does in one line)."""


@dataclass(slots=True)
class State:
    """What the options before the verb said; verbs reach it with `click.pass_obj`."""

    debug: bool = False


class LazyGroup(click.Group):
    """A group that lists its verbs without importing them, and names the nearest one after a wrong one."""

    def __init__(self, *arguments: Any, verbs: Mapping[str, tuple[str, str]], **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.verbs = verbs

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names of all verbs, sorted."""
        return sorted(self.verbs)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The verb itself; its module is imported here, at the last moment."""
        if cmd_name not in self.verbs:
            return None
        _speak()
        command = import_module(self.verbs[cmd_name][0]).command
        if not isinstance(command, click.Command):
            raise TypeError(f"{self.verbs[cmd_name][0]}.command is no click command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of verbs in the help, from the one-line texts, so that nothing has to be imported."""
        rows = [(name, self.verbs[name][1]) for name in self.list_commands(ctx)]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Finds the verb, or refuses it and names the nearest one."""
        if args and args[0] not in self.verbs and not args[0].startswith("-"):
            raise click.UsageError(self._unknown(args[0]), ctx)
        return super().resolve_command(ctx, args)

    def _unknown(self, name: str) -> str:
        near = get_close_matches(name, self.verbs, n=1)
        hint = f"did you mean {near[0]}?" if near else "coldframe --help lists what there is"
        return f"there is no command “{name}”; {hint}"


class GroupOfVerbs(click.Group):
    """A verb with verbs of its own, which it names after a wrong one."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in self.commands and not args[0].startswith("-"):
            known = " and ".join(f"`{ctx.command_path} {name}`" for name in sorted(self.commands))
            raise click.UsageError(f"there is no `{ctx.command_path} {args[0]}`; there are {known}", ctx)
        return super().resolve_command(ctx, args)


def _speak() -> None:
    """The language comes before the verb's module, which imports its sentences."""
    try:
        speak(os.environ.get("COLDFRAME_LANGUAGE", ENGLISH))
    except UnknownLanguage as unknown:
        raise click.UsageError(f"COLDFRAME_LANGUAGE: {unknown}") from None


@click.group(cls=LazyGroup, verbs=VERBS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="coldframe")
@click.option("--debug", is_flag=True, help="Show where an error came from.")
@click.pass_obj
def coldframe(state: State, debug: bool) -> None:
    """Take a team from where its growth leaks to at most two measurable trials and an honest verdict."""
    state.debug = debug


def not_beside(why: str, *names: str) -> None:
    """To be called where these options would be ignored: whoever typed one meant something by it. Raises UsageError."""
    context = click.get_current_context()
    for parameter in context.command.params:
        typed = context.get_parameter_source(parameter.name or "") is ParameterSource.COMMANDLINE
        if parameter.name in names and typed:
            raise click.UsageError(f"{parameter.opts[0]} {why}")


def of_room(given: Settings, data: Path | None, *, make: bool = False) -> tuple[Settings, Path | None]:
    """With the database of a room's folder instead of the settings' own, and the room's file in it."""
    if data is None:
        return given, None
    if make:
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
    return given.model_copy(update={"database": f"sqlite:///{data / 'bot.db'}"}), data / "room.db"


def settings() -> Settings:
    """The settings of the environment, with the log set up by them. Raises SettingsError."""
    from coldframe.config import load  # heavy: pydantic
    from coldframe.logs import configure  # heavy: structlog

    found = load()
    configure(found.log, found.log_level)
    return found
