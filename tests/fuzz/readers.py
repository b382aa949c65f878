"""Every reader of what comes from outside, with what is fed to it and what it may say. Anything else that it raises is
a fault."""

from __future__ import annotations

import hashlib
import hmac
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from hypothesis import strategies as st
from pydantic import ValidationError

from coldframe.chat.room import forms, orders, payloads, rows
from coldframe.chat.room.records import Refused as RoomRefused
from coldframe.chat.slack import history, inbound, interactions, marks, reading, requests
from coldframe.chat.slack.inbound import Ignored, Refused
from coldframe.cli.team import TeamError, read_team
from coldframe.config import SettingsError, load
from coldframe.domain import texts
from coldframe.domain.names import LeverId, MemberId
from coldframe.domain.refusals import Refused as DomainRefused
from coldframe.domain.round import notes
from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import lives, members
from coldframe.engine.reading import (
    Unreadable,
    asked_words,
    dates,
    form_lines,
    lever_lines,
    note_lines,
    number_lines,
    numbers,
    page_lines,
    week_files,
    window_lines,
)
from coldframe.engine.register import registering
from coldframe.engine.round.setup import read_levers
from coldframe.message import emoji, harmless
from coldframe.message.nodes import Field, Form, Option
from coldframe.message.packed import ButtonValue, MadeFor, MessageName, Occurrence, Origin
from coldframe.players import scenario
from coldframe.ports.chat import Inbound
from coldframe.store import register
from coldframe.store.rounds import from_rows, to_rows
from coldframe.timing.calendars import WorkingCalendar
from demo.main import HERE
from tests.chat.slack.test_inbound import COMMAND, FORM, ME, NOW, PRESS, said, wrapped
from tests.domain.play import a_round
from tests.fuzz.things import ANYTHING, HOSTILE, fields, near, near_bytes, near_json, near_value
from tests.house.test_held_about_people import filled

LEVERS = ((LeverId("acquisition"), "Acquisition"), (LeverId("retention"), "Retention"))
KINDS: tuple[ComparisonKind, ...] = get_args(ComparisonKind)
BERLIN = WorkingCalendar(zone="Europe/Berlin")
SECRET = "a signing secret"


@dataclass(frozen=True)
class Reader:
    """`refuses`: what it raises for what it does not take."""

    what: st.SearchStrategy[Any]
    read: Callable[[Any], object]
    refuses: tuple[type[Exception], ...] = ()

    def try_it(self, thing: Any) -> str:
        """Whether it was taken or refused."""
        try:
            self.read(thing)
        except self.refuses as no:
            assert str(no) is not None
            return "refused"
        return "taken"


# --- typed words ----------------------------------------------------------------------------------------------------

_DATES = near(
    *(
        "2026-04-07",
        "next Tuesday",
        "in 3 working days",
        "7 April",
        "7 Apr 2027 9:30",
        "tomorrow 17:00",
        "end of month",
    ),
    *("03/04", "2026-W15", "2026-04-07T09:00+02:00", "Friday week", "in 2 weeks at noon", "24:00", "last Monday"),
)
_NOTES = near(
    "- retention: The bill surprises people", "+ acquisition: Word of mouth\n- It is slow", "− retention：x", "* a\n* b"
)
_NUMBERS = near(
    *("week 3: control 1,200 / 96, trial 1.180 of 118", "control 12.5 4.2 80; trial 13 4 82", "1200", "gap: holidays"),
    *("trial 3 of 4", "week 2 control 5/2 trial 6/3", "1,200.5", "4 %", "0,04"),
)
_FILE = near_bytes(
    "week,control_people,control_successes,trial_people,trial_successes\n1,100,10,101,12\n2,90,9,91,20\n",
    "week;people;successes\n1;1.200;96\n",
    "\ufeffweek\tcount\n1\t5\n",
    "week,value\n1,3.5\n",
    'week,count\n1,"5\n',
)
_HOURS = st.tuples(
    near("Europe/Berlin", "Asia/Kolkata", "UTC"), near("Mon-Fri", "Sun-Thu", "Mon, Tue and Thu"),
    near("9-17", "09:00-12:00, 13:00-17:30", "22:00 to 24:00"), near("DE", "GB-SCT", "US-CA"), near("12-13", ""),
)  # fmt: skip


def _read_date(words: str) -> object:
    return dates.reading(words, NOW, BERLIN, [("Ada", BERLIN)])


def _read_numbers(both: tuple[str, ComparisonKind]) -> object:
    text, kind = both
    number_lines.looks_like_numbers(text)
    return number_lines.read_line(text, kind)


def _read_notes(text: str) -> object:
    note_lines.is_signed(text)
    note_lines.names_its_place(text, LEVERS)
    notes.looks_long(text)
    return [note_lines.read_notes(text, LEVERS, lever) for lever in (None, LeverId("retention"))]


def _read_any_text(text: str) -> object:
    shown = harmless.theirs(text, 40)
    assert len(shown.text) <= 40
    assert harmless.harmless(harmless.harmless(text)) == harmless.harmless(text)
    kept = texts.accepted(text, 500)
    assert texts.accepted(kept, 500) == kept and kept.encode()
    return kept


def _read_question(text: str) -> object:
    """What is left of a text without the question asks it no more."""
    left = asked_words.without_what_now(text)
    assert left is None or asked_words.without_what_now(left) is None
    return asked_words.is_what_now(text), asked_words.asks_how_it_stands(text), left


def _read_emoji(text: str) -> object:
    found = emoji.bare(text)
    assert emoji.bare(found) == found
    return emoji.by_name(text), emoji.short_name(text), found


def _read_packed(text: str) -> object:
    """What is read is read alike once it is packed anew."""
    for kind in (MessageName, ButtonValue, Occurrence, Origin):
        once = kind.unpack(text)
        assert kind.unpack(once.pack()) == once, kind
    lives.may_end(text)
    lives.named(text)
    return MadeFor.unpack(text)


# --- files and settings -----------------------------------------------------------------------------------------------

_SETTING = st.sampled_from(
    ["database", "secret", "secret_file", "port", "public_url", "slack_token_keys", "log", "log_level", "nonsense", ""]
).map(lambda name: f"COLDFRAME_{name.upper()}")
_SETTINGS = st.dictionaries(
    _SETTING,
    near("sqlite:///x.db", "postgresql+asyncpg://u:p@h/n", "a passphrase of some length", "3000", "https://x", "debug"),
    max_size=5,
)
_TEAM = "channel: growth\npeople:\n  - {id: ada, name: Ada Marsh, zone: Europe/Berlin}\n  - {id: ben, name: Ben}\n"
_SCENARIO = (HERE / "scenarios" / "one-person.yaml").read_text(encoding="utf-8")


def _read_settings(environment: dict[str, str]) -> object:
    return repr(load({name: value.replace("\0", "") for name, value in environment.items()}))


def _read_team(content: bytes) -> object:
    with tempfile.NamedTemporaryFile(suffix=".yaml") as file:
        file.write(content)
        file.flush()
        return read_team(Path(file.name))


# --- Slack ------------------------------------------------------------------------------------------------------------

_MESSAGES = (
    said(), said(thread_ts="4.000001"), said(subtype="file_share", files=[{"id": "F1", "name": "n.txt", "size": 12}]),
    {"type": "message", "subtype": "message_changed", "channel": "D1", "message": said(), "previous_message": said()},
    {"type": "message", "subtype": "message_deleted", "channel": "D1", "deleted_ts": "5.1", "previous_message": said()},
    {"type": "reaction_added", "user": "U1", "reaction": "+1", "item": {"channel": "D1", "ts": "5.1"}},
    {"type": "user_change", "user": {"id": "U1", "profile": {"real_name": "A"}, "tz": "Europe/Berlin"}},
    {"type": "member_joined_channel", "user": "U1", "channel": "C1", "team": "T1"},
)  # fmt: skip
_EVENTS = near_value(*(wrapped(message) for message in _MESSAGES))


def _translated(read: Callable[..., inbound.Outcome]) -> Callable[[Any], object]:
    def translate(body: Any) -> object:
        found = read(body, ME, NOW)
        assert isinstance(found, Inbound | Ignored | Refused)
        return found

    return translate


def _read_single_values(value: Any) -> object:
    reading.moment(value, NOW)
    message = value if isinstance(value, dict) else {"ts": value, "text": value}
    marks.key_of(message), marks.number_of(message), marks.total_of(message)
    return [reading.words(str(value), "UBOT"), reading.mentions(str(value), "UBOT"), history._is_since(value, "5.1")]


def _read_signature(parts: tuple[str, str, bytes]) -> object:
    stamp, signature, body = parts
    signed = requests.is_signed(SECRET, stamp, signature, body, NOW.timestamp())
    right = hmac.new(SECRET.encode(), b"v0:" + stamp.encode("utf-8", "replace") + b":" + body, hashlib.sha256)
    assert not signed or signature == f"v0={right.hexdigest()}"
    return signed


_NOW = str(int(NOW.timestamp()))
_RIGHT = "v0=" + hmac.new(SECRET.encode(), f"v0:{_NOW}:".encode() + b"body", hashlib.sha256).hexdigest()

# --- the room ---------------------------------------------------------------------------------------------------------

_ORDERS = near_json(
    {"n": 1, "do": "hello", "life": "x", "since": 3},
    {"n": 2, "do": "say", "key": "k1", "place": "d", "text": "words", "thread": None, "files": []},
    {
        "n": 3,
        "do": "say",
        "key": "k2",
        "place": "c:g",
        "text": "",
        "files": [{"name": "a", "size": 1, "content": "YQ=="}],
    },
    {"n": 4, "do": "press", "key": "k3", "message": "m000001", "action": "a.b", "value": "r1|x"},
    {"n": 5, "do": "submit", "key": "k4", "action": "a.b", "value": "v", "fields": {"text": "x"}},
    {"n": 6, "do": "react", "key": "k5", "message": "m000001", "emoji": "👍", "added": True},
    {"n": 7, "do": "rehearse", "what": "run", "speed": 60.0, "step": ""},
    {"n": 8, "do": "earlier", "place": "c:g", "before": "m000009"},
)
_FORM = Form(
    "A form", "a.b", "v",
    (
        Field("text", "T"), Field("many", "M", "choices", options=(Option("a", "A"), Option("b", "B"))),
        Field("one", "O", "choice", required=False, options=(Option("a", "A"),)), Field("day", "D", "date"),
        Field("sure", "S", "tick"), Field("count", "C", "number", required=False, most=3),
    ),
)  # fmt: skip


def _read_fields(given: dict[str, str]) -> object:
    return forms.errors(_FORM, forms.filled(_FORM, given))


def _read_ids(text: str) -> object:
    assert rows.seq_of(text) < 10**16
    return payloads.place_of("room", "ada", text)


# --- what is stored ---------------------------------------------------------------------------------------------------

_ROWS = to_rows(a_round(6))
_DOC = json.loads(_ROWS.doc)
_TRIAL_DOC = json.loads(register._TRIAL.dump_json(filled(Trial, MemberId("ada"))))


def _read_document(doc: str) -> object:
    return from_rows(doc, _ROWS.opened(), {})


READERS: dict[str, Reader] = {
    "typed dates": Reader(_DATES, _read_date, (dates.UnclearDate,)),
    "windows of the setup": Reader(
        st.tuples(
            near("notes 16, plans 24", "ballot: 2 h and dots 8 hours", "reading 4"), st.sampled_from(["days", "live"])
        ),
        lambda both: window_lines.read(*both),
        (Unreadable,),
    ),
    "meanings of levers": Reader(
        near("Retention: they stay", "a: b", "Acquisition:\nRetention : x: y"),
        lambda text: lever_lines.read(text, LEVERS),
        (Unreadable,),
    ),
    "levers of the setup": Reader(near("Acquisition, Retention", "a,b,c,d,e,f,g", "Größe, Größe"), read_levers),
    "working hours": Reader(_HOURS, lambda parts: members.read_hours(*parts), (ValueError,)),
    "note lines": Reader(_NOTES, _read_notes),
    "lines of numbers": Reader(st.tuples(_NUMBERS, st.sampled_from(KINDS)), _read_numbers, (Unreadable,)),
    "levels of a plan": Reader(_NUMBERS, numbers.decimal, (Unreadable,)),
    "people of a plan": Reader(_NUMBERS, numbers.amount, (Unreadable,)),
    "week files": Reader(
        st.tuples(_FILE, st.sampled_from(KINDS)), lambda both: week_files.read_file(*both), (week_files.WrongFile,)
    ),
    "questions of how it stands": Reader(
        near("What now?", "So, what now\nslow pages", "Who is missing?", "why doesn't it go on", "where are we"),
        _read_question,
    ),
    "searches of the register": Reader(
        near('bill lever:retention verdict:"not reached"', "since:2026-01-31 until:tomorrow", "owner:ada %_\\"),
        registering.read_query,
    ),
    "pages sent as text": Reader(
        st.tuples(
            st.sampled_from(sorted(page_lines.LIMITS)),
            near("Bigger ovens\nIf we bake, they come.\n- buy one\n2. heat it", "A title\nsource: https://a.example/b"),
        ),
        lambda both: page_lines.read(*both, {"title": "begun"}),
    ),
    "forms by words": Reader(
        near("1: Ada\n2: tomorrow", "The lever: a\nmore of it", "3: yes", "just words"),
        lambda text: form_lines.read(_FORM, "text", text, lambda day: str(_read_date(day))),
    ),
    "any text": Reader(near(*HOSTILE, "words"), _read_any_text, (DomainRefused,)),
    "emoji": Reader(near("👍🏽", ":+1:", "+1::skin-tone-3", "❤️", "seedling"), _read_emoji),
    "packed names and values": Reader(near("r1/author/ada/p%2F1", "r1%:notes|a|b", "t|week-3", "x%7C/y"), _read_packed),
    "settings": Reader(_SETTINGS, _read_settings, (SettingsError,)),
    "team files": Reader(near_bytes(_TEAM), _read_team, (TeamError,)),
    "scenario files": Reader(near(_SCENARIO), scenario.load, (scenario.WrongScenario,)),
    "Slack events": Reader(_EVENTS, _translated(inbound.event)),
    "Slack commands": Reader(near_value(COMMAND), _translated(interactions.command)),
    "Slack presses": Reader(near_value(PRESS), _translated(interactions.press)),
    "Slack forms": Reader(near_value(FORM), _translated(interactions.form)),
    "Slack single values": Reader(
        st.one_of(ANYTHING, near("5.000001", "<@UBOT> &lt;b&gt; <!here|x> <https://a|b>")), _read_single_values
    ),
    "Slack signatures": Reader(
        st.tuples(near(_NOW), near(_RIGHT), st.one_of(st.just(b"body"), st.binary(max_size=20))), _read_signature
    ),
    "the room's orders": Reader(_ORDERS, orders.ORDERS.validate_json, (ValidationError,)),
    "the room's forms": Reader(fields("text", "many", "one", "day", "sure", "count"), _read_fields, (RoomRefused,)),
    "the room's ids": Reader(near("m000001", "c:growth", "d", "f000002"), _read_ids, (RoomRefused,)),
    "stored trials": Reader(near_json(_TRIAL_DOC), register._TRIAL.validate_json, (ValidationError,)),
    "stored rounds": Reader(near_json(_DOC), _read_document, (ValidationError,)),
}
