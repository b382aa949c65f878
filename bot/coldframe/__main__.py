"""The command `coldframe`, and `python -m coldframe`: parses, runs one verb, turns every failure into one line."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from coldframe import memory
from coldframe.cli import State, coldframe
from coldframe.errors import FAILED, INTERRUPTED, WRONG, ColdframeError


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one verb.

    Returns the exit status: what the verb asked for, or one of `errors.STATUSES`.
    """
    memory.look_seldom()
    state = State()
    try:
        result = coldframe.main(
            args=None if arguments is None else list(arguments),
            prog_name="coldframe",
            standalone_mode=False,
            obj=state,
        )
    except (click.Abort, KeyboardInterrupt):
        return _say("interrupted", INTERRUPTED)
    except click.exceptions.NoArgsIsHelpError as asked:
        asked.show()
        return WRONG
    except BrokenPipeError:  # the reader, a pager or `head`, has seen enough
        sys.stdout = None  # else the interpreter flushes once more and complains
        return 0
    except Exception as error:
        if state.debug:
            raise
        return _say(_in_one_line(error), _status(error))
    return result if isinstance(result, int) else 0


def _status(error: Exception) -> int:
    """Whether the surroundings failed, or what was asked for is wrong; a mistake of ours is none of the asker's."""
    if isinstance(error, ColdframeError):
        return error.status
    return WRONG if isinstance(error, click.ClickException | ValueError) else FAILED


def _in_one_line(error: Exception) -> str:
    if isinstance(error, click.ClickException):
        return _joined(error.format_message())
    text = _joined(str(error))
    if isinstance(error, ColdframeError | OSError | ValueError) and text:
        return text
    return f"{type(error).__name__}: {text} (coldframe --debug … shows where)"


def _joined(text: str) -> str:
    return "; ".join(line.strip() for line in text.splitlines() if line.strip())


def _say(sentence: str, status: int) -> int:
    print(f"coldframe: {sentence}", file=sys.stderr)
    return status


if __name__ == "__main__":
    sys.exit(main())
