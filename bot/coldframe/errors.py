"""The root of all errors that the program raises under names of its own."""

from __future__ import annotations


class ColdframeError(Exception):
    """Something went wrong that has no name of its own; `coldframe --debug` shows where.

    A kind of error that is raised without a message says its docstring in one line: what happened, and what to do.
    """

    def __init__(self, message: str | None = None) -> None:
        super().__init__(" ".join((self.__doc__ or "").split()) if message is None else message)
