"""The root of all errors that the program raises under names of its own, and what a command ends with."""

from __future__ import annotations

from collections.abc import Mapping

DONE, FAILED, WRONG, INTERRUPTED = 0, 1, 2, 130
STATUSES: Mapping[int, str] = {
    DONE: "done; of `doctor`, nothing is broken",
    FAILED: "the surroundings are in the way: the database, a port, a disk, the network; of `doctor`, something is "
    "broken; of `outbox` and `numbers`, some of it was not done",
    WRONG: "what was set or asked for is wrong: a setting, a secret, an option, a file that was named",
    INTERRUPTED: "interrupted by Ctrl-C",
}
"""What the exit status of every command says to a script."""


class ColdframeError(Exception):
    """Something went wrong that has no name of its own; `coldframe --debug` shows where.

    A kind of error that is raised without a message says its docstring in one line: what happened, and what to do.
    """

    status = FAILED
    """With which a command ends that it stops."""

    def __init__(self, message: str | None = None) -> None:
        super().__init__(" ".join((self.__doc__ or "").split()) if message is None else message)
