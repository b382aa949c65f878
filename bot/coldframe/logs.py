"""The one log: events with data, configured once, on the error stream. No text that people wrote ever stands in it.

Our own events come through structlog, by a name and plain values. What libraries log comes through `logging`, from
warnings up; an error of theirs is told by its kind and place alone, for its words may quote what somebody wrote.
"""

from __future__ import annotations

import hashlib
import logging
import secrets
import sys
import traceback
from collections import Counter
from collections.abc import Iterator, MutableMapping
from contextlib import contextmanager
from typing import Any, Literal

import structlog
from structlog.contextvars import bound_contextvars, get_contextvars, merge_contextvars
from structlog.types import Processor

Form = Literal["auto", "json", "console"]
Level = Literal["debug", "info", "warning", "error"]
Event = MutableMapping[str, Any]

told: Counter[tuple[str, str]] = Counter()
"""How often each event of ours was logged by this process, by (its name, its level); below the least level none is."""


structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.INFO))
# until somebody says otherwise: what follows each happening is for those alone who ask for it
_SALT = secrets.token_bytes(16)
FOLLOWED = "happening"


def id_of(key: str) -> str:
    """A short id that tells nothing of the key, to whoever reads the log beside the database either."""
    return hashlib.blake2s(key.encode(), key=_SALT, digest_size=6).hexdigest()


@contextmanager
def following(happening: str) -> Iterator[None]:
    """Every line that is logged meanwhile, by what is begun meanwhile too, bears this id; with "" the one it had."""
    if not happening:
        yield
        return
    with bound_contextvars(**{FOLLOWED: happening}):
        yield


def followed() -> str:
    """The id that is borne now, for what goes on elsewhere: another task, another process."""
    return str(get_contextvars().get(FOLLOWED, ""))


def configure(form: Form = "auto", level: Level = "info") -> None:
    """Sends events of at least this level to the error stream: as JSON, or for the eye. Auto: by what reads it."""
    for_the_eye = form == "console" or (form == "auto" and sys.stderr.isatty())
    renderer: Processor = structlog.dev.ConsoleRenderer() if for_the_eye else structlog.processors.JSONRenderer()
    shared: list[Processor] = [
        merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper("iso"),
        without_words,
    ]
    least = logging.getLevelNamesMapping()[level.upper()]
    structlog.configure(
        processors=[*shared, _counted, renderer],
        wrapper_class=structlog.make_filtering_bound_logger(least),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
    )
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(structlog.stdlib.ProcessorFormatter(foreign_pre_chain=shared, processors=[_own, renderer]))
    logging.basicConfig(handlers=[handler], level=max(logging.WARNING, least), force=True)


def _counted(_: object, __: str, event: Event) -> Event:
    told[event["event"], event.get("level", "")] += 1
    return event


def note(event: str) -> None:
    """Counts what is too frequent to be logged."""
    told[event, "note"] += 1


def without_words(_: object, __: str, event: Event) -> Event:
    """An error by its kind and place, and of a library's message the first line: asyncio quotes errors below it."""
    given = event.pop("exc_info", None)
    error = given[1] if isinstance(given, tuple) else sys.exception() if given is True else given
    event["event"] = str(event["event"]).partition("\n")[0]
    if isinstance(error, BaseException):
        event.update(problem=type(error).__name__, place=_place(error))
    return event


def _place(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    return f"{frames[-1].filename}:{frames[-1].lineno}" if frames else ""


def _own(_: object, __: str, event: Event) -> Event:
    """The event without what the formatter put in for itself."""
    return {name: value for name, value in event.items() if name not in ("_record", "_from_structlog")}
