"""One root of all errors, and messages that say what happened."""

from __future__ import annotations

import importlib
import pkgutil

import pytest

import coldframe
from coldframe.errors import ColdframeError
from coldframe.wiring import NoSecret

NOT_TO_IMPORT = ("coldframe.store.migrations.env",)
"""Runs when it is imported, for a database that is being upgraded."""
EXTRAS = ("nio", "nh3")
"""Libraries that need not be there."""


def _errors() -> dict[str, type[BaseException]]:
    found = {}
    for module in pkgutil.walk_packages(coldframe.__path__, "coldframe."):
        if module.name in NOT_TO_IMPORT:
            continue
        try:
            named = vars(importlib.import_module(module.name))
        except ModuleNotFoundError as lacking:
            if lacking.name not in EXTRAS:
                raise
            continue
        for name, value in named.items():
            if isinstance(value, type) and issubclass(value, BaseException) and value.__module__ == module.name:
                found[f"{module.name}.{name}"] = value
    return found


def test_every_error_of_the_program_has_the_one_root() -> None:
    """Whoever calls coldframe can catch all that it raises by one name."""
    errors = _errors()
    assert len(errors) > 30
    assert [name for name, kind in errors.items() if not issubclass(kind, ColdframeError)] == []


def test_every_error_says_what_it_means() -> None:
    """The docstring of an error is its message where it is raised without one, so each has a sentence."""
    assert [name for name, kind in _errors().items() if not (kind.__doc__ or "").strip()] == []


def test_an_error_without_a_message_says_its_docstring() -> None:
    """What happened and what to do stand once, beside the name of the error."""
    with pytest.raises(ColdframeError, match=r"(?s)COLDFRAME_SECRET is missing.*Make one with"):
        raise NoSecret
    assert str(ColdframeError("something else")) == "something else"
