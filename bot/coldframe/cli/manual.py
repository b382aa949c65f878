"""`coldframe manual`: the pages that come with the program."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import click

from coldframe.cli import VERBS, GroupOfVerbs
from coldframe.cli.settings_file import plain
from coldframe.errors import STATUSES
from coldframe.speech import person_guides
from coldframe.speech.panel_words import HELP

REFERENCE = "reference"
PAGES = (REFERENCE, *person_guides.PERSONS)
WIDTH = 100
HEAD = """\
# Reference

As `coldframe manual reference` prints it: what people type in the chat, the commands of whoever runs the bot, what they
end with, and every setting.
"""


@click.command()
@click.argument("page", type=click.Choice(PAGES), required=False)
def command(page: str | None) -> None:
    """Print PAGE as Markdown; without one, list the pages.

    \b
    coldframe manual reference      every command and setting
    coldframe manual facilitator    what a round asks of one person
    """
    if page is None:
        click.echo("\n".join(PAGES))
    else:
        click.echo(reference() if page == REFERENCE else person_guides.markdown(page), nl=False)


def reference() -> str:
    """Made from the commands and settings themselves, so that none is forgotten."""
    return "\n".join([HEAD, *_words(), *_commands(), *_statuses(), *_settings()])


def _words() -> Iterator[str]:
    yield "## In the chat\n"
    yield "A mention of the bot works like the command, and so does the word alone in a direct message to it.\n"
    yield from _table(("word", "what it does"), HELP)


def _commands() -> Iterator[str]:
    yield "## Commands\n"
    yield "`coldframe COMMAND --help` prints the same. `coldframe --debug COMMAND` shows where an error came from.\n"
    root = click.get_current_context().find_root().command
    assert isinstance(root, click.Group)
    # With the program's own settings, as a command keeps the first option for help that it was asked for.
    settings = root.context_settings
    above = click.Context(root, info_name="coldframe", terminal_width=WIDTH, max_content_width=WIDTH, **settings)
    for name in sorted(VERBS):
        found = root.get_command(above, name)
        assert found is not None
        yield from _command(found, above, name)


def _command(found: click.Command, above: click.Context, name: str) -> Iterator[str]:
    with click.Context(found, above, info_name=name) as context:
        yield f"### {context.command_path}\n"
        yield f"```text\n{_help(found, context)}\n```\n"
        if isinstance(found, GroupOfVerbs):
            for inner, verb in sorted(found.commands.items()):
                yield from _command(verb, context, inner)


def _help(found: click.Command, context: click.Context) -> str:
    """Without the option that every command has."""
    lines = [line for line in found.get_help(context).splitlines() if not line.endswith("Show this message and exit.")]
    return "\n".join(lines).removesuffix("Options:").strip()


def _statuses() -> Iterator[str]:
    yield "## What a command ends with\n"
    yield from _table(("status", "means"), ((str(number), words) for number, words in STATUSES.items()))


def _settings() -> Iterator[str]:
    from coldframe.config import PREFIX, Settings  # heavy: pydantic

    yield "## Settings\n"
    yield "From the environment. Each can stand in a file instead, which `NAME_FILE` names.\n"
    rows = (
        (
            f"`{PREFIX}{name.upper()}`",
            field.description or "",
            f"`{default}`" if (default := plain(field.default)) and field.default_factory is None else "",
        )
        for name, field in Settings.model_fields.items()
    )
    yield from _table(("setting", "what it is", "default"), rows)


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    for row in (head, ("---",) * len(head), *rows):
        yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in row)} |"
    yield ""
