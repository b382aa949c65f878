"""Checks of arguments, shared by all of `coldframe.analysis`.

Every check takes the argument's name and value, returns the value in the type that the caller computes with,
and raises `BadNumber` otherwise. Text is never parsed and truth values are never counted: whoever reads "5"
or a tick box from a person decides what was meant before calling.
"""

from __future__ import annotations

import math
import numbers
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

from coldframe.errors import ColdframeError

T = TypeVar("T")

MAX_SHOWN = 80
"""Characters of a wrong value that a message repeats."""


class BadNumber(ColdframeError, ValueError):
    """An argument outside its allowed range: `argument` and `value` say which, `allowed` what would do."""

    def __init__(self, argument: str, value: object, allowed: str) -> None:
        self.argument = argument
        self.value = value
        self.allowed = allowed
        super().__init__(f"{argument} is {shorten(value)}; allowed: {allowed}")

    def __reduce__(self) -> tuple[type[BadNumber], tuple[str, object, str]]:
        # The worker process hands errors back by pickling; the default would call __init__ with the message
        # alone.
        return type(self), (self.argument, self.value, self.allowed)


def shorten(value: object) -> str:
    """The value as a message repeats it: its repr, a numpy scalar as plain number, cut at `MAX_SHOWN`."""
    plain = value.item() if hasattr(value, "item") and getattr(value, "ndim", 1) == 0 else value
    try:
        shown = repr(plain)
    except ValueError:  # Python refuses to write out whole numbers of more than 4,300 digits
        shown = "a number of thousands of digits"
    return shown if len(shown) <= MAX_SHOWN else shown[: MAX_SHOWN - 3] + "..."


def whole(argument: str, value: Any, *, least: int = 0, most: int | None = None) -> int:
    """A whole count from `least` to `most` (both included; no upper end by default). 5.0 counts as 5."""
    allowed = f"a whole number of at least {least}" if most is None else f"a whole number from {least} to {most}"
    if not _is_finite(value) or value != int(value):
        raise BadNumber(argument, value, allowed)
    if value < least or (most is not None and value > most):
        raise BadNumber(argument, value, allowed)
    return int(value)


def finite(argument: str, value: Any, *, least: float | None = None, most: float | None = None) -> float:
    """A finite number, by default of either sign, else from `least` to `most` (both included)."""
    allowed = _finite_range(least, most)
    if not _is_finite(value):
        raise BadNumber(argument, value, allowed)
    if (least is not None and value < least) or (most is not None and value > most):
        raise BadNumber(argument, value, allowed)
    return float(value)


def positive(argument: str, value: Any) -> float:
    """A finite number above 0."""
    if not _is_finite(value) or value <= 0:
        raise BadNumber(argument, value, "a finite number above 0")
    return float(value)


def rate(argument: str, value: Any, *, inside: bool = False) -> float:
    """A share from 0 to 1; with `inside` neither 0 nor 1 itself."""
    allowed = "a number above 0 and below 1" if inside else "a number from 0 to 1"
    if not _is_finite(value) or not 0 <= value <= 1 or (inside and value in (0, 1)):
        raise BadNumber(argument, value, allowed)
    return float(value)


def non_empty(argument: str, values: Iterable[T], *, least: int = 1) -> list[T]:
    """The items as a list, at least `least` of them; text and mappings do not count as lists."""
    allowed = f"a list of at least {least}"
    if isinstance(values, (str, bytes, Mapping)) or not isinstance(values, Iterable):
        raise BadNumber(argument, values, allowed)
    items = list(values)
    if len(items) < least:
        raise BadNumber(argument, items, allowed)
    return items


def choice(argument: str, value: T, allowed: Sequence[T]) -> T:
    """One of the allowed values."""
    if not any(type(value) is type(one) and value == one for one in allowed):
        raise BadNumber(argument, value, "one of " + ", ".join(repr(one) for one in allowed))
    return value


def _is_finite(value: object) -> bool:
    if isinstance(value, bool) or _is_numpy_bool(value) or not isinstance(value, numbers.Real):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number too large for a float
        return False


def _is_numpy_bool(value: object) -> bool:
    return type(value).__module__ == "numpy" and type(value).__name__ in ("bool", "bool_")


def _finite_range(least: float | None, most: float | None) -> str:
    if least is not None and most is not None:
        return f"a number from {least:g} to {most:g}"
    if least is not None:
        return f"a finite number of at least {least:g}"
    return "a finite number" if most is None else f"a finite number of at most {most:g}"
