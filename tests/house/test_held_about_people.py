"""What is kept about people is shown to them and goes when they ask, whichever step or table keeps it."""

from __future__ import annotations

import json
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime, timedelta
from enum import Enum
from pathlib import Path
from typing import Any, Literal, NewType, Union, get_args, get_origin, get_type_hints

import pytest
from sqlalchemy import select

from coldframe.domain.names import MemberId, Step
from coldframe.domain.people.facts import PersonForgotten
from coldframe.domain.round.forgetting import person_forgotten
from coldframe.domain.state import Round
from coldframe.domain.trial.facts import MemberForgotten
from coldframe.domain.trial.owning import member_forgotten
from coldframe.domain.trial.state import Trial
from coldframe.speech.people.held_words import held_in, held_in_trial
from coldframe.store import tables
from coldframe.store.rounds import PRIVATE
from tests.domain.play import EVERYBODY, a_round
from tests.engine.reaching import at_step
from tests.engine.seeing_through import Team, a_team

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
ME = EVERYBODY[4]
ALIAS = MemberId("~1")


def filled(shape: Any, mine: MemberId) -> Any:
    """A value of this type in which every person is this one."""
    if isinstance(shape, NewType):
        return mine if shape is MemberId else "x1"
    origin, inner = get_origin(shape), get_args(shape)
    if origin in (Union, types.UnionType):
        return filled(next(one for one in inner if one is not type(None)), mine)
    if origin is Literal:
        return inner[0]
    if origin is tuple:
        parts = inner[:1] if inner[-1] is Ellipsis else inner
        return tuple(filled(part, mine) for part in parts)
    if origin is frozenset:
        return frozenset({filled(inner[0], mine)})
    if origin is not None and issubclass(origin, Mapping):
        return {filled(inner[0], mine): filled(inner[1], mine)}
    if is_dataclass(shape):
        hints = get_type_hints(shape)
        return shape(**{each.name: filled(hints[each.name], mine) for each in fields(shape)})
    return _plain(shape)


def _plain(shape: type) -> Any:
    if issubclass(shape, Enum):
        return next(iter(shape))
    return {str: "kept words", int: 7, float: 0.5, bool: False, datetime: NOW, date: NOW.date()}[shape]


def holding(kind: str) -> tuple[Round, Round]:
    """A round that keeps nothing, and the same with one thing of this kind by one person."""
    name, shape = PRIVATE[kind]
    (key,) = get_args(get_type_hints(Round)[name])[:1]
    empty = a_round(6)
    thing = filled(shape, ME)
    return empty, replace(empty, **{name: {filled(key, ME): thing}})


@pytest.mark.parametrize("kind", PRIVATE)
def test_what_is_sealed_is_shown_to_whose_it_is(kind: str) -> None:
    """A kind of private thing that the export leaves out would be kept behind somebody's back."""
    without, with_it = holding(kind)
    assert held_in(with_it, ME) != held_in(without, ME)
    other = EVERYBODY[3]
    assert held_in(with_it, other) == held_in(without, other)


@pytest.mark.parametrize("kind", PRIVATE)
def test_what_is_shown_is_gone_when_its_person_is_forgotten(kind: str) -> None:
    """Nothing that the export showed leads to them any more."""
    forgotten = [person_forgotten(round_, PersonForgotten(ME, ALIAS)) for round_ in holding(kind)]
    assert held_in(forgotten[0], ME) == held_in(forgotten[1], ME)
    assert ME not in repr(forgotten[1])


def _is_by_person(shape: Any) -> bool:
    return get_origin(shape) is Mapping and get_args(shape)[0] is MemberId


def by_person_in_a_trial() -> list[str]:
    hints = get_type_hints(Trial)
    keyed = [f.name for f in fields(Trial) if _is_by_person(hints[f.name])]
    return [name for name in keyed if name != "people"]  # who belongs to the team, by name


@pytest.mark.parametrize("name", by_person_in_a_trial())
def test_what_a_trial_keeps_by_person_is_shown_and_goes(name: str) -> None:
    """Forecasts and learnings, and whatever else comes to be kept by person."""
    without = filled(Trial, EVERYBODY[3])
    with_it = replace(without, **{name: {ME: filled(get_args(get_type_hints(Trial)[name])[1], ME)}})
    assert held_in_trial(with_it, ME) != held_in_trial(without, ME)
    assert held_in_trial(member_forgotten(with_it, MemberForgotten(ME, ALIAS)), ME) == held_in_trial(without, ME)


async def test_reminders_are_shown_and_forgotten(tmp_path: Path) -> None:
    """When somebody was reminded is about them, too."""
    async with at_step(tmp_path, NOW, Step.DOTS) as team:
        async with team.house.store.begin() as uow:
            await uow.note_nudge("room", ME, team.clock.now())
        await team.command(ME, "export", channel=False)
        room = team.house.room
        files = [f for r in room.messages(room.direct(ME)) for f in r.files if f.name == "what-is-held.json"]
        found = room.log.file(files[-1].id)
        assert found is not None
        held = json.loads(found[2])
        assert held["reminded"] == [team.clock.now().isoformat()]
        await team.command(ME, "forget me", channel=False)
        async with team.house.store.begin() as uow:
            assert await uow.nudges_since("room", ME, NOW - timedelta(days=400)) == []
            assert await uow.member("room", ME) is None


async def test_after_forgetting_no_table_holds_the_name(tmp_path: Path) -> None:
    """Neither of the round nor of its trials, in whatever table it was kept."""
    async with a_team(tmp_path, chances={ME: 60}) as team:
        name = team.round.name_of(ME)
        assert await _tables_with(team, name)
        await team.command(ME, "forget me", channel=False)
        assert await _tables_with(team, name) == set()


async def _tables_with(team: Team, text: str) -> set[str]:
    """Tables in which this stands in a column that is not sealed."""
    found = set()
    async with team.house.store.database.looking() as db:
        for name, table in tables.metadata.tables.items():
            rows = await db.execute(select(table))
            if any(isinstance(value, str) and text in value for row in rows for value in row):
                found.add(name)
    return found
