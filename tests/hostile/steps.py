"""How many steps a pattern takes on a text, counted and not timed: a matcher that goes to and fro like Python's own.

It follows the tree into which `re` parses a pattern, one call for each place where something is tried, so that a
pattern that takes the square of a text's length, or more, is told from one that takes so many steps a character.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from re import _parser  # type: ignore[attr-defined]  # isort: skip

DEEP = 20_000  # calls within one another
Go = Callable[[int], bool]
"""What comes after, from a place in the text: whether the rest fits."""
_CATEGORIES: dict[str, Callable[[str], bool]] = {
    "CATEGORY_DIGIT": str.isdecimal,
    "CATEGORY_SPACE": str.isspace,
    "CATEGORY_WORD": lambda sign: sign.isalnum() or sign == "_",
}


class TooMany(Exception):
    """More steps than allowed."""


def count(pattern: re.Pattern[str], text: str, most: int, *, whole: bool) -> int:
    """Steps of `match`, or of `fullmatch`. Raises TooMany."""
    walk = _Walk(text, pattern.flags, most)
    with _deep():
        walk.all_of(_tree(pattern), 0, lambda at: not whole or at == len(text))
    return walk.steps


def fits(pattern: re.Pattern[str], text: str) -> bool:
    """As `fullmatch` has it; by this a test knows that the matcher is right."""
    with _deep():
        return _Walk(text, pattern.flags, 10**6).all_of(_tree(pattern), 0, lambda at: at == len(text))


def _tree(pattern: re.Pattern[str]) -> Iterable[Any]:
    tree: Iterable[Any] = _parser.parse(pattern.pattern, pattern.flags)
    return tree


@contextmanager
def _deep() -> Iterator[None]:
    """What comes after is called from within what came before, so that calls stand as deep as the text is long."""
    usual = sys.getrecursionlimit()
    sys.setrecursionlimit(DEEP)
    try:
        yield
    finally:
        sys.setrecursionlimit(usual)


class _Walk:
    def __init__(self, text: str, flags: int, most: int) -> None:
        self.text, self.flags, self.most = text, flags, most
        self.steps = 0
        self.groups: dict[int, tuple[int, int]] = {}

    def all_of(self, nodes: Iterable[Any], at: int, then: Go) -> bool:
        """One node after the other."""
        items = list(nodes)

        def go(place: int, i: int) -> bool:
            return then(i) if place == len(items) else self.one(items[place], i, lambda end: go(place + 1, end))

        return go(0, at)

    def one(self, node: Any, at: int, then: Go) -> bool:
        self.steps += 1
        if self.steps > self.most:
            raise TooMany(self.steps)
        kind, what = str(node[0]), node[1]
        if kind in ("LITERAL", "NOT_LITERAL", "ANY", "IN", "CATEGORY"):
            return at < len(self.text) and self.is_sign(kind, what, self.text[at]) and then(at + 1)
        return bool(getattr(self, f"_{kind.lower()}")(what, at, then))

    def is_sign(self, kind: str, what: Any, sign: str) -> bool:
        """Whether one character is meant."""
        if kind == "ANY":
            return bool(self.flags & re.DOTALL) or sign != "\n"
        if kind == "CATEGORY":
            name = str(what)
            return _CATEGORIES[name.replace("_NOT_", "_")](sign) != ("_NOT_" in name)
        if kind == "IN":
            negated = str(what[0][0]) == "NEGATE"
            return any(self.is_sign(str(k), w, sign) for k, w in what[negated:]) != negated
        forms = {sign, sign.lower(), sign.upper()} if self.flags & re.IGNORECASE else {sign}
        if kind == "RANGE":
            return any(len(form) == 1 and what[0] <= ord(form) <= what[1] for form in forms)
        return (chr(what) in forms) == (kind == "LITERAL")

    def _max_repeat(self, what: Any, at: int, then: Go) -> bool:
        least, most, nodes = what

        def more(times: int, i: int) -> bool:
            if times < most and self.all_of(nodes, i, lambda end: end > i and more(times + 1, end)):
                return True
            return times >= least and then(i)

        return more(0, at)

    def _min_repeat(self, what: Any, at: int, then: Go) -> bool:
        least, most, nodes = what

        def more(times: int, i: int) -> bool:
            if times >= least and then(i):
                return True
            return times < most and self.all_of(nodes, i, lambda end: end > i and more(times + 1, end))

        return more(0, at)

    def _subpattern(self, what: Any, at: int, then: Go) -> bool:
        number, nodes = what[0], what[3]

        def closed(end: int) -> bool:
            before = self.groups.get(number)
            self.groups[number] = (at, end)
            if then(end):
                return True
            if before is None:
                del self.groups[number]
            else:
                self.groups[number] = before
            return False

        return self.all_of(nodes, at, closed if number else then)

    def _branch(self, what: Any, at: int, then: Go) -> bool:
        return any(self.all_of(nodes, at, then) for nodes in what[1])

    def _groupref(self, what: Any, at: int, then: Go) -> bool:
        if what not in self.groups:
            return False
        begin, end = self.groups[what]
        said = self.text[begin:end]
        return self.text.startswith(said, at) and then(at + len(said))

    def _looks(self, what: Any, at: int) -> bool:
        direction, nodes = what
        begin = at if direction > 0 else at - nodes.getwidth()[0]
        return begin >= 0 and self.all_of(nodes, begin, lambda end: direction > 0 or end == at)

    def _assert(self, what: Any, at: int, then: Go) -> bool:
        return self._looks(what, at) and then(at)

    def _assert_not(self, what: Any, at: int, then: Go) -> bool:
        return not self._looks(what, at) and then(at)

    def _at(self, what: Any, at: int, then: Go) -> bool:
        text, end, lines = self.text, len(self.text), bool(self.flags & re.MULTILINE)
        match str(what):
            case "AT_BEGINNING":
                there = at == 0 or (lines and text[at - 1] == "\n")
            case "AT_BEGINNING_STRING":
                there = at == 0
            case "AT_END":
                there = at == end or (at == end - 1 and text[at] == "\n") or (lines and text[at] == "\n")
            case "AT_END_STRING":
                there = at == end
            case edge:
                word = _CATEGORIES["CATEGORY_WORD"]
                sides = (at > 0 and word(text[at - 1]), at < end and word(text[at]))
                there = (sides[0] != sides[1]) == (edge == "AT_BOUNDARY")
        return there and then(at)
