"""No reader raises but what it says that it raises, whatever is fed to it. `python -m tests.bench.fuzz` does it for
long."""

from __future__ import annotations

import pkgutil
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import Phase, given, seed, settings

from coldframe.domain.names import Step
from coldframe.engine import reading
from tests.fuzz import readers
from tests.fuzz.readers import READERS
from tests.fuzz.whole_bot import feed


@pytest.mark.parametrize("name", READERS)
def test_a_reader_takes_or_refuses_whatever_comes(name: str) -> None:
    """By its own named refusal; no other exception, and no endless work."""
    reader = READERS[name]

    @given(thing=reader.what)
    def fed(thing: object) -> None:
        reader.try_it(thing)

    fed()


@pytest.mark.parametrize("name", READERS)
def test_what_is_fed_is_near_to_what_is_taken(name: str) -> None:
    """Else noise alone would be tested: each reader takes something of it."""
    reader, taken = READERS[name], Counter[str]()

    @seed(1)
    @settings(max_examples=100, phases=[Phase.generate], database=None)
    @given(thing=reader.what)
    def fed(thing: object) -> None:
        taken[reader.try_it(thing)] += 1

    fed()
    assert taken["taken"], taken


def test_every_reader_of_what_people_type_is_fed() -> None:
    """A new module of the bot's reading has its line among the readers, or fails here."""
    there = {module.name for module in pkgutil.iter_modules(reading.__path__)}
    assert len(there) > 6
    assert {name for name in there if getattr(readers, name, None) is None} == set()


@pytest.mark.parametrize("step", [Step.NOTES, Step.BALLOT, Step.COMMITMENT])
async def test_the_whole_bot_answers_whatever_comes(step: Step, tmp_path: Path) -> None:
    """Lines, commands, presses, forms, emoji and files, broken or made up: nothing breaks, nothing is left untaken."""
    counts = await feed(tmp_path, step, 60, seed=1)
    assert sum(counts.values()) >= 60
