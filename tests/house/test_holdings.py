"""The list of all that is kept (`ports.holdings`) is whole, and true: what is on it is shown to its person, explained,
and gone when they are forgotten. A new table, column or field fails here until it stands on the list."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass, make_dataclass, replace
from typing import Any, get_args, get_type_hints

import pytest
from sqlalchemy import Column, MetaData, String, Table

from coldframe.chat.room.schema import SCHEMA
from coldframe.domain.names import MemberId
from coldframe.domain.people.aliases import changed
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.round.forgetting import person_forgotten
from coldframe.domain.state import Round
from coldframe.domain.trial.facts import MemberForgotten
from coldframe.domain.trial.owning import member_forgotten
from coldframe.domain.trial.state import Trial
from coldframe.ports.follow_through import RegisterEntry, Team
from coldframe.ports.holdings import DOCUMENTS
from coldframe.ports.kept import ROOM, SLACK, TABLES, Held, Then
from coldframe.ports.storage import Member, Traces
from coldframe.speech.people.held_words import EXPLAINED, everything, held_in, held_in_trial
from coldframe.store import tables
from tests.domain.play import a_round
from tests.house.test_held_about_people import ALIAS, ME, filled

KEPT = (Round, Trial, RegisterEntry, Team, Member)
OTHER = MemberId("somebody else")


def of_documents(roots: Iterable[Any]) -> set[str]:
    """Every field of these and of what is in them."""
    found: set[str] = set()
    for root in roots:
        if is_dataclass(root) and isinstance(root, type):
            hints = get_type_hints(root)
            names = {f"{root.__name__}.{field.name}" for field in fields(root)}
            if not names <= found:
                found |= names | of_documents(hints.values())
        else:
            found |= of_documents(get_args(root))
    return found


def of_tables(metadata: MetaData) -> set[str]:
    return {f"{table.name}.{column.name}" for table in metadata.tables.values() for column in table.columns}


def of_room() -> set[str]:
    room = sqlite3.connect(":memory:")
    room.executescript(SCHEMA)
    named = [name for (name,) in room.execute("select name from sqlite_master where type = 'table'")]
    return {f"{table}.{row[1]}" for table in named for row in room.execute(f"pragma table_info({table})")}


def differing(kept: set[str], listed: Mapping[str, Held]) -> set[str]:
    return kept ^ listed.keys()


def test_everything_that_is_kept_stands_on_the_list_and_nothing_else() -> None:
    """All columns of the store's and the room's tables, all fields of all documents."""
    assert differing(of_tables(tables.metadata), TABLES) == set()
    assert differing(of_room(), ROOM) == set()
    assert differing(of_documents(KEPT), DOCUMENTS) == set()


def test_a_new_column_or_field_is_missed_on_the_list() -> None:
    """So a forgotten one fails the test above, wherever it is put in."""
    metadata = MetaData()
    for table in tables.metadata.tables.values():
        table.to_metadata(metadata)
    metadata.tables["rounds"].append_column(Column("whose", String(9)))
    Table("diaries", metadata, Column("person", String(9)))
    assert differing(of_tables(metadata), TABLES) == {"rounds.whose", "diaries.person"}
    inner = make_dataclass("Diary", [("text", str)])
    more = make_dataclass("Trial", [("diary", tuple[inner, ...] | None)])  # type: ignore[valid-type]
    assert differing(of_documents((*KEPT, more)), DOCUMENTS) == {"Trial.diary", "Diary.text"}


def test_every_name_under_which_something_is_shown_is_explained_and_made() -> None:
    """And nothing is explained that the file does not hold."""
    shown = {held.shown for listed in (TABLES, ROOM, SLACK, DOCUMENTS) for held in listed.values()} - {""}
    assert shown == EXPLAINED.keys()
    whole = everything(None, [a_round(3)], [filled(Trial, ME)], [], [], Traces(0, 0, []), ME)
    parts = {*whole, *whole["rounds"][0], *whole["trials"][0]}
    assert EXPLAINED.keys() <= parts


def test_what_stays_or_is_not_shown_says_why() -> None:
    """Nothing is kept of somebody who was forgotten without a reason."""
    for listed in (TABLES, ROOM, SLACK, DOCUMENTS):
        assert not [name for name, held in listed.items() if held.then is Then.STAYS and not held.why]


# --- what somebody wrote ---------------------------------------------------------------------------------------------


CANARY = "words that go"


def _with_words(thing: Any) -> Any:
    """The same with words of its own in every field that the list says goes."""
    if isinstance(thing, Mapping):
        return {key: _with_words(value) for key, value in thing.items()}
    if isinstance(thing, tuple | frozenset):
        return type(thing)(_with_words(each) for each in thing)
    if not is_dataclass(thing) or isinstance(thing, type):
        return thing
    return replace(thing, **{f.name: _words_in(type(thing).__name__, f.name, thing) for f in fields(thing)})


def _words_in(document: str, field: str, thing: Any) -> Any:
    value = getattr(thing, field)
    goes = DOCUMENTS[f"{document}.{field}"].then is Then.GOES
    return _replaced(value, f"{CANARY} {document}.{field}") if goes else _with_words(value)


def _replaced(value: Any, words: str) -> Any:
    """Every text in it; what stands in records of its own is named by those."""
    if isinstance(value, str):
        return words if value == "kept words" else value
    if isinstance(value, Mapping):
        return {key: _replaced(each, words) for key, each in value.items()}
    if isinstance(value, tuple | frozenset):
        return type(value)(_replaced(each, words) for each in value)
    return _with_words(value)


def _words(thing: Any) -> set[str]:
    return set(re.findall(rf"{CANARY} (\w+\.\w+)", repr(thing)))


def test_words_that_the_list_says_go_are_gone() -> None:
    """Each text of somebody in a round and in a trial, wherever it stands, with every place of it theirs."""
    round_, trial = _with_words(filled(Round, ME)), _with_words(filled(Trial, ME))
    assert {"Choice.feared", "Round.jottings", "Draft.text"} <= _words(round_)
    assert {"Entry.reason", "Trial.learnings", "Trial.feared"} <= _words(trial)
    assert _words(person_forgotten(round_, PersonForgotten(ME, ALIAS))) == set()
    assert _words(member_forgotten(trial, MemberForgotten(ME, ALIAS))) == set()


# --- wherever a person stands ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stands:
    """A thing in which one person stands at one place, by the innermost field that holds it."""

    field: str
    without: Any
    with_me: Any


def _visited(thing: Any) -> int:
    """How often somebody stands in it."""
    visits: list[MemberId] = []

    def note(person: MemberId) -> MemberId:
        visits.append(person)
        return person

    changed(thing, note)
    return len(visits)


def _with_me_at(thing: Any, place: int) -> Any:
    left = iter(range(_visited(thing)))
    return changed(thing, lambda person: ME if next(left) == place else person)


def _innermost(shape: Any, thing: Any) -> str:
    """`Document.field` of the one place at which ME stands."""
    for field in fields(shape):
        value = getattr(thing, field.name)
        if ME not in repr(value):
            continue
        inner = [each for each in _records(value) if ME in repr(each)]
        return _innermost(type(inner[0]), inner[0]) if inner else f"{shape.__name__}.{field.name}"
    raise AssertionError("nobody stands in it")


def _records(value: Any) -> list[Any]:
    if is_dataclass(value):
        return [value]
    if isinstance(value, Mapping):
        return [record for each in value.values() for record in _records(each)]
    if isinstance(value, tuple | frozenset):
        return [record for each in value for record in _records(each)]
    return []


def _everywhere(shape: Any) -> list[Stands]:
    without = filled(shape, OTHER)
    found = [_with_me_at(without, place) for place in range(_visited(without))]
    return [Stands(_innermost(shape, thing), without, thing) for thing in found if thing != without]


@pytest.mark.parametrize("stands", _everywhere(Round), ids=lambda s: s.field)
def test_wherever_somebody_stands_in_a_round_they_are_shown_it_and_stand_there_no_more(stands: Stands) -> None:
    """Every field that can hold a person, one after the other."""
    if DOCUMENTS[stands.field].shown:
        assert held_in(stands.with_me, ME) != held_in(stands.without, ME)
    assert ME not in repr(person_forgotten(stands.with_me, PersonForgotten(ME, ALIAS)))


@pytest.mark.parametrize("stands", _everywhere(Trial), ids=lambda s: s.field)
def test_wherever_somebody_stands_in_a_trial_they_are_shown_it_and_stand_there_no_more(stands: Stands) -> None:
    """Every field that can hold a person, one after the other."""
    if DOCUMENTS[stands.field].shown:
        assert held_in_trial(stands.with_me, ME) != held_in_trial(stands.without, ME)
    assert ME not in repr(member_forgotten(stands.with_me, MemberForgotten(ME, ALIAS)))
