"""`coldframe completion`: what lets a shell complete verbs, options and files."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

SHELLS = ("bash", "zsh", "fish")
VARIABLE = "_COLDFRAME_COMPLETE"
"""By which the shell asks the command itself; click's own way."""


@click.command()
@click.argument("shell", type=click.Choice(SHELLS))
def command(shell: str) -> None:
    """Print a script for SHELL. Put into its start file what it is to do each time:

    \b
    bash, in ~/.bashrc:                  eval "$(coldframe completion bash)"
    zsh, in ~/.zshrc:                    eval "$(coldframe completion zsh)"
    fish, in ~/.config/fish/config.fish: coldframe completion fish | source
    """
    found = get_completion_class(shell)
    assert found is not None
    group = click.get_current_context().find_root().command
    click.echo(found(group, {}, "coldframe", VARIABLE).source())
