"""The table of who may do and read what: whole, printed, and the only one."""

from __future__ import annotations

import re
from pathlib import Path

import coldframe
from coldframe.domain.who_may import BY_WAY, TABLE, Act, Cell, Who, cell, table
from coldframe.engine.uses import USES

TOP = Path(__file__).resolve().parents[2]


def test_the_manual_shows_the_table() -> None:
    """Printed anew by `.venv/bin/python -c "from coldframe.domain.who_may import table; print(table())"`."""
    manual = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = manual.partition("<!-- who may -->")[2].partition("<!-- /who may -->")[0]
    assert shown.strip() == table()


def test_everything_that_can_be_asked_has_a_row() -> None:
    """Every word, button and form; and no row names one that is not there any more."""
    asked = {*USES.buttons, *USES.forms, *(f"/{word}" for word in USES.words)}
    named = {way for way in BY_WAY if "." in way or way.startswith("/")}
    assert named == asked
    assert set(TABLE) == set(Act)


def test_each_way_belongs_to_one_row() -> None:
    """Else which row is asked would be chance."""
    ways = [way for row in TABLE.values() for way in row.ways]
    assert len(ways) == len(set(ways)) == len(BY_WAY)


def test_outsiders_get_nothing_but_what_is_their_own() -> None:
    """Who left and guests whom nobody let in: the help, and what is held about them. Others: nothing at all."""
    own = {Act.HELP, Act.OWN_DATA}
    for who, may in ((Who.FOREIGN, set()), (Who.BOT, set()), (Who.GUEST, own), (Who.LEFT, own)):
        assert {act for act in Act if cell(act, who) is Cell.YES} == may
    assert {act for act in Act if cell(act, Who.LEFT) is Cell.IF} == {
        Act.TAKE_BACK, Act.MINE, Act.OWN_TIME, Act.CALENDAR, Act.ANSWER_BACK, Act.REHEARSE,
    }  # fmt: skip


def test_no_second_list_stands_anywhere() -> None:
    """What somebody may is refused by the table's rows; a guard of its own would be a second table."""
    guards = re.compile(r"Refused\(Because\.(NOT_FACILITATOR|NOT_DECISION_MAKER|NOT_OWNER|NOT_HERE|NOT_LET_IN)")
    top = Path(coldframe.__file__).parent
    found = {
        file.relative_to(top).as_posix(): len(guards.findall(file.read_text("utf-8")))
        for floor in ("domain", "engine")
        for file in (top / floor).rglob("*.py")
    }
    assert {name: number for name, number in found.items() if number} == {
        "domain/round/course.py": 1,  # a step that waits for a decision is closed by it, not by the facilitator
        "domain/round/roles.py": 1,  # the facilitator may not take the decision-maker's role away yet
        "engine/core/access.py": 2,
        "engine/register/leftovers.py": 1,  # who facilitates the newest round, not the button's
    }
