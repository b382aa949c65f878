"""What the program as a whole never does, whatever is typed: looked for in its source, its tables and its patterns."""

from __future__ import annotations

import ast
import csv
import importlib
import io
import json
import logging
import pkgutil
import re
from collections.abc import Iterator
from contextlib import redirect_stderr
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from types import ModuleType

import icalendar
import pytest
import structlog

import coldframe
from coldframe import logs
from coldframe.calendar.ics import Entry, calendar_file
from coldframe.domain.state import ComparisonKind
from coldframe.engine.reading import week_files
from coldframe.store import tables
from tests.hostile import steps

SOURCE = Path(coldframe.__file__).parent
LONG = 150  # characters, by which what takes the square of them is far from what does not
EACH = 50  # steps a character at most


@cache
def _trees() -> list[tuple[str, ast.Module]]:
    found = sorted(SOURCE.rglob("*.py"))
    return [(str(path.relative_to(SOURCE)), ast.parse(path.read_text(encoding="utf-8"))) for path in found]


@cache
def _imports(tree: ast.Module) -> set[str]:
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    return names | {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}


@cache
def _called(tree: ast.Module) -> list[tuple[str, ast.Call]]:
    return [(ast.unparse(node.func), node) for node in ast.walk(tree) if isinstance(node, ast.Call)]


def test_nothing_stored_or_sent_is_ever_run() -> None:
    """No pickle or marshal, no eval or exec, no shell, no YAML that makes objects."""
    bad = {"pickle", "cPickle", "marshal", "shelve", "dill"}
    found = [(name, module) for name, tree in _trees() for module in _imports(tree) & bad]
    for name, tree in _trees():
        for called, call in _called(tree):
            if called in ("eval", "exec", "os.system", "os.popen", "yaml.load", "yaml.unsafe_load"):
                found.append((name, called))
            if any(keyword.arg == "shell" for keyword in call.keywords):
                found.append((name, "shell="))
    assert found == []


def test_no_text_of_a_person_is_taken_for_a_template() -> None:
    """Templates are written in the program: `format` and `%` are only ever called on words that stand there."""
    found = []
    for name, tree in _trees():
        for called, call in _called(tree):
            if (
                called.endswith((".format_map", "Template"))
                and call.args
                and not isinstance(call.args[0], ast.Constant)
            ):
                found.append((name, called))
    assert [one for one in found if one[0] not in TEMPLATES] == []


TEMPLATES = {"chat/room/answers.py"}
"""The room's entrance page, which is a file of the program's own."""


def test_no_table_of_cells_is_written() -> None:
    """A formula in a cell can do no harm where nothing writes cells: CSV is only read, and no workbook is known."""
    writers = ("csv.writer", "csv.DictWriter")
    found = [(name, called) for name, tree in _trees() for called, _ in _called(tree) if called in writers]
    known = [name for name, tree in _trees() for module in _imports(tree) if module in ("openpyxl", "xlsxwriter")]
    assert found == known == []


def test_the_bot_asks_nobody_but_its_own_services() -> None:
    """Addresses that people write are never fetched: who opens connections at all is on this list."""
    found = {name for name, tree in _trees() if _imports(tree) & {"aiohttp", "urllib.request", "http.client", "socket"}}
    listening = {"feeds/numbers.py", "feeds/routes.py", "listening.py", "watch/service.py"}
    by_operators = {"cli/numbers.py"}  # to the address that whoever runs it names
    assert {name for name in found if not name.startswith("chat/")} == listening | by_operators
    asking = {name for name, tree in _trees() for called, _ in _called(tree) if called.endswith("session.get")}
    assert asking <= {"chat/slack/downloads.py", "chat/matrix/calls.py"}  # the latter asks its homeserver alone


def test_no_text_of_a_person_stands_in_a_unique_index() -> None:
    """A server's error would quote it: keys are ids, hashes and packed names, all of a bounded length."""
    keys = {column.type for table in tables.metadata.tables.values() for column in table.primary_key.columns}
    lengths = {getattr(kind, "length", None) for kind in keys if isinstance(kind, tables.String)}
    assert None not in lengths
    assert not [
        c for t in tables.metadata.tables.values() for c in t.primary_key.columns if isinstance(c.type, tables.Text)
    ]


# --- patterns -------------------------------------------------------------------------------------------------------


def _modules() -> Iterator[ModuleType]:
    skipped = ("coldframe.__main__", "coldframe.store.migrations", "coldframe.languages")
    for found in pkgutil.walk_packages(coldframe.__path__, "coldframe."):
        if not found.name.startswith(skipped):
            yield importlib.import_module(found.name)


def _patterns() -> dict[str, re.Pattern[str]]:
    return {
        f"{module.__name__}.{name}": value
        for module in _modules()
        for name, value in vars(module).items()
        if isinstance(value, re.Pattern) and isinstance(value.pattern, str)
    }


NASTY = ("a", " ", "1", "-", "\n", "(", "<", "&", ",", "a ", "1,", "- ", "\u0301", "a1 ", "<a|", "%2", "\t \n")


def _hostile(piece: str) -> str:
    return (piece * LONG)[:LONG] + "!"


def test_no_pattern_of_ours_takes_long() -> None:
    """On whatever could make it go back and forth it takes so many steps a character, and not the more the longer the
    text is."""
    patterns = _patterns()
    assert len(patterns) > 20
    slow = [name for name, pattern in patterns.items() if any(_is_slow(pattern, _hostile(piece)) for piece in NASTY)]
    assert slow == []


def _is_slow(pattern: re.Pattern[str], text: str) -> bool:
    try:
        for whole in (True, False):
            steps.count(pattern, text, EACH * len(text), whole=whole)
    except steps.TooMany:
        return True
    return False


@pytest.mark.parametrize(("pattern", "text"), [(r"\s*\s*x", " "), (r"(a+)+b", "a"), (r"(a|a)*b", "a"), (r".*.*=", "a")])
def test_a_pattern_that_goes_back_and_forth_is_found(pattern: str, text: str) -> None:
    """The steps are counted as `re` takes them: these take the square of the length, or more."""
    assert _is_slow(re.compile(pattern), _hostile(text))


def test_steps_are_those_of_the_same_matches() -> None:
    """What is counted matches what the patterns match, and nothing else."""
    texts = ["12", "1,200", "-4.5", "week 3: ", "Retention: they leave", "a b", "17:30", "3/4", "https://a.example", ""]
    for name, pattern in _patterns().items():
        for text in texts:
            assert steps.fits(pattern, text) == (pattern.fullmatch(text) is not None), (name, text)


# --- files, calendars, logs -----------------------------------------------------------------------------------------


HEADER = b"week,count\n"


@pytest.mark.parametrize(
    "content",
    [
        b"week," * 200_000,
        b"a\n" * 500_000,
        HEADER + b"1,1\n" * 250_000,
        HEADER + b"\n" * 500_000,
        HEADER + b'1,"' + b"1\n" * 500_000,
        HEADER + b'1,"1\n' * 200_000,
        b'"' * 1_000_000,
        b"PK\x03\x04" + b"\0" * 999_999,
    ],
)
def test_a_file_that_is_all_columns_or_rows_is_refused_at_once(content: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a megabyte, the most that is read, no more lines are looked at than a file may have, and none that is longer
    than a line may be; what is said is short."""
    looked_at: list[str] = []
    reader = csv.reader
    seen = lambda lines: (looked_at.append(line) or line for line in lines)  # noqa: E731
    monkeypatch.setattr(csv, "reader", lambda lines, **how: reader(seen(lines), **how))
    kind: ComparisonKind = "count"
    with pytest.raises(week_files.WrongFile) as told:
        week_files.read_file(content, kind)
    assert len(str(told.value)) < 1_000
    assert len(looked_at) <= week_files.MAX_LINES
    assert max(map(len, looked_at), default=0) <= week_files.MAX_LINE


def test_a_calendar_file_asks_nobody_in() -> None:
    """A title that would add a line of its own stays a title, and there are no attendees."""
    at = datetime(2026, 4, 7, 9, tzinfo=UTC)
    title = 'Review\r\nATTENDEE;CN="x\ny":mailto:a@b.example'
    entry = Entry("uid-1", 0, at, at.replace(hour=10), title, title)
    file = calendar_file([entry], name=title, now=at)
    (event,) = icalendar.Calendar.from_ical(file).walk("VEVENT")
    assert "ATTENDEE" not in event and "ORGANIZER" not in event
    assert b"\r\nATTENDEE" not in file


def test_a_line_of_the_log_stays_one_line() -> None:
    """Line ends and terminal commands in a name are escaped: nobody writes an event of their own."""
    heard = io.StringIO()
    with redirect_stderr(heard):
        logs.configure("json", "info")
        structlog.get_logger().info("room.tried", who='a"}\n{"event": "forged"}\r\x1b[31m')
    (line,) = heard.getvalue().splitlines()
    assert json.loads(line)["event"] == "room.tried" and "\x1b" not in line
    structlog.reset_defaults()
    logging.basicConfig(force=True)
