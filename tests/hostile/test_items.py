"""The list of hostile inputs is whole, and each of its tests is there."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from tests.hostile.items import ITEMS

TESTS = Path(__file__).parents[1]


@cache
def _tests_in(path: str) -> frozenset[str]:
    file = TESTS / path
    tree = ast.parse(file.read_text(encoding="utf-8")) if file.is_file() else ast.Module([], [])
    return frozenset(
        node.name.removeprefix("test_")
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_")
    )


def test_every_item_is_on_the_list() -> None:
    assert [*ITEMS] == [*range(1, 67)]


@pytest.mark.parametrize("number", ITEMS)
def test_an_item_has_tests_that_are_there(number: int) -> None:
    """Renamed or deleted, a test is missed here."""
    item = ITEMS[number]
    assert item.tests and item.becomes
    assert [one for one in item.tests if one.partition("::")[2] not in _tests_in(one.partition("::")[0])] == []
