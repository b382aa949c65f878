"""The one log: its forms and levels, and that no words of people come into it by a library's errors."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Iterator

import pytest
import structlog

from coldframe.cli import settings
from coldframe.logs import configure


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    """The log is the process's own, so each test gives it back."""
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    yield
    root.handlers[:], root.level = handlers, level
    structlog.reset_defaults()


def _lines(capsys: pytest.CaptureFixture[str]) -> list[dict[str, str]]:
    said = capsys.readouterr()
    assert said.out == ""
    return [json.loads(line) for line in said.err.splitlines()]


def test_events_are_lines_of_data_on_the_error_stream(capsys: pytest.CaptureFixture[str]) -> None:
    """As JSON each event is one line with its name, level and values; what a verb prints stays apart."""
    configure("json")
    structlog.get_logger().warning("room.act_not_taken", kind="Said")
    (line,) = _lines(capsys)
    assert line.pop("timestamp").endswith("Z")
    assert line == {"event": "room.act_not_taken", "kind": "Said", "level": "warning"}


def test_a_library_s_error_is_told_without_its_words(capsys: pytest.CaptureFixture[str]) -> None:
    """What a library logs comes in the same form; an error is its kind and place, never its text."""
    configure("json")
    try:
        raise ValueError("a secret note")
    except ValueError:
        logging.getLogger("some.library").exception("it failed\nwith 'a secret note'")
    (line,) = _lines(capsys)
    assert line["event"] == "it failed" and line["problem"] == "ValueError" and "test_logs.py:" in line["place"]
    assert "secret" not in str(line)


def test_an_error_that_nobody_waited_for_is_told_without_its_words(capsys: pytest.CaptureFixture[str]) -> None:
    """asyncio quotes a lost task's error in its message; that part is left out."""

    async def lost() -> None:
        loop = asyncio.get_running_loop()
        loop.call_exception_handler({"message": "nobody waited", "exception": ValueError("a secret note")})

    configure("json")
    asyncio.run(lost())
    (line,) = _lines(capsys)
    assert line["event"] == "nobody waited" and "secret" not in str(line)


@pytest.mark.parametrize(("level", "seen"), [("info", 2), ("warning", 1), ("error", 0)])
def test_the_level_holds_back_what_lies_below(level: str, seen: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Events below the level are not written."""
    configure("json", level)  # type: ignore[arg-type]
    log = structlog.get_logger()
    log.debug("least")
    log.info("some")
    log.warning("more")
    assert len(_lines(capsys)) == seen


def test_the_settings_choose_form_and_level(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """COLDFRAME_LOG and COLDFRAME_LOG_LEVEL are what a verb sets the log up by."""
    monkeypatch.setenv("COLDFRAME_LOG", "console")
    monkeypatch.setenv("COLDFRAME_LOG_LEVEL", "warning")
    settings()
    log = structlog.get_logger()
    log.info("held.back")
    log.warning("let.through", jobs=3)
    said = capsys.readouterr().err
    assert "let.through" in said and "jobs" in said and "{" not in said and "held.back" not in said
