"""`coldframe settings`: an environment file with every setting explained."""

from __future__ import annotations

import textwrap

import click

HEAD = """\
# Settings of coldframe, as `coldframe settings` prints them. A line that begins with # is not set; what stands
# behind it is the default. Each secret can stand in a file of its own instead: NAME_FILE=/path/to/it.
"""


@click.command()
def command() -> None:
    """Print an environment file that names and explains every setting.

    \b
    coldframe settings > coldframe.env
    """
    click.echo(text(), nl=False)


def text() -> str:
    """Made from the settings themselves, so that none is forgotten."""
    from coldframe.config import PREFIX, Settings  # heavy: pydantic

    parts = [HEAD]
    for name, field in Settings.model_fields.items():
        what = textwrap.wrap(f"{(field.description or '').strip()}.", 116)
        lines = [f"# {line[0].upper() + line[1:] if not number else line}" for number, line in enumerate(what)]
        default = "" if field.default_factory is not None else plain(field.default)
        parts.append("\n".join([*lines, f"#{PREFIX}{name.upper()}={default}"]) + "\n")
    return "\n".join(parts)


def plain(default: object) -> str:
    """As it is written in the environment; a secret has no default, and nor has what is not set."""
    from pydantic import SecretStr  # heavy

    return "" if default is None or isinstance(default, SecretStr) else str(default)
