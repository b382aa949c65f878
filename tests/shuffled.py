"""The tests in another order, as a plugin of pytest: `-p tests.shuffled`, by the seed that `TESTS_ORDER` holds. Files
come in any order, and the tests of a file in any order, so that what they share is still made once for each file."""

from __future__ import annotations

import os
import random

import pytest

ORDER = "TESTS_ORDER"


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The same on every worker, which must agree on the order."""
    chance = random.Random(os.environ.get(ORDER, "0"))
    files: dict[str, list[pytest.Item]] = {}
    for item in items:
        files.setdefault(str(item.path), []).append(item)
    for inside in files.values():
        chance.shuffle(inside)
    items[:] = [item for file in chance.sample(sorted(files), len(files)) for item in files[file]]


def pytest_report_header() -> str:
    return f"in the order of seed {os.environ.get(ORDER, '0')}"
