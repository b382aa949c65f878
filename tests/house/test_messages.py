"""Every message that the engine sends by name has a life, or is a record by a decision."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import coldframe
from coldframe.engine.core import lives
from tests.demo.test_secrecy import RECORDS

ENGINE = Path(coldframe.__file__).parent / "engine"
SENDS = {"turn.say": 1, "turn.tell": 2, "trial_turn.say": 2, "trial_turn.tell": 3}
"""Calls that send a message, and which of their arguments names it."""


def _named() -> Iterator[tuple[str, str]]:
    """Where a message is sent with its `what` in quotes, and that."""
    for file in sorted(ENGINE.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            place = SENDS.get(ast.unparse(node.func)) if isinstance(node, ast.Call) else None
            if place is not None and isinstance(node, ast.Call) and isinstance(node.args[place], ast.Constant):
                yield f"{file.name}:{node.lineno}", str(ast.literal_eval(node.args[place]))


def test_every_message_has_its_life_or_is_a_record() -> None:
    """Without a life its buttons would stand for ever; a played round does not come to every message."""
    found = dict(_named())
    assert len(found) > 50
    known = {*lives.ROUND, *lives.TRIAL, *lives.TEAM_OF_TRIAL, *RECORDS}
    assert {where: what for where, what in found.items() if what not in known} == {}
