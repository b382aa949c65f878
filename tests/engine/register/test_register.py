"""The register in both databases: what is found, what is taken literally, what is never shown."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coldframe.clock import SeededIds
from coldframe.domain.trial.state import Entry, Figures
from coldframe.engine.register.registering import nearest, read_query
from coldframe.ports.follow_through import RegisterEntry, Wanted
from coldframe.store.sql import SqlStore
from coldframe.wiring import open_store
from tests.engine.databases import BOTH, a_database
from tests.speech.trials import OWNER, a_trial

NOW = datetime(2026, 5, 4, 9, tzinfo=UTC)


def entry(number: int, title: str, hypothesis: str = "", **more: object) -> RegisterEntry:
    base = RegisterEntry(
        f"t{number}", "room", "c1", "spring", "retention", "Retention", title, hypothesis, "How?", "share", "Éva Kiss",
        "met", NOW - timedelta(days=number),
    )  # fmt: skip
    return replace(base, **more)  # type: ignore[arg-type]


ENTRIES = (
    entry(1, "Call new teams", "If we call teams they stay: 50% more"),
    entry(2, "Send a_letter", "Cancelled invoices; it costs 100*2", verdict="not met", owner="Otto"),
    entry(3, "Onboarding calls", 'Said "quoted" in the café', lever="activation", lever_name="Activation"),
    entry(4, "Elsewhere", "If we call teams", team="c2"),
)


@asynccontextmanager
async def a_store(kind: str, folder: Path) -> AsyncIterator[SqlStore]:
    with a_database(kind, folder) as url:
        store = await open_store(url, b"a secret for tests, 32 bytes long", SeededIds(1), durable=False)
        try:
            yield store
        finally:
            await store.close()


FOUND = {
    "calling": [1, 3],
    "cancel": [2],
    "oardin": [3],
    "CAFE": [3],
    "team call": [1],
    "50%": [1],
    "%": [1],
    "_": [2],
    "a_l": [2],
    "*": [2],
    "100*2": [2],
    '"quoted"': [3],
    '"': [3],
    "cal*": [],
    "c%l": [],
    "OR": [1],  # a part of “more”, not an operator
    "' OR 1=1 --": [],
    "NEAR(call)": [],
    "": [1, 2, 3],
}


@pytest.mark.parametrize("kind", BOTH)
async def test_words_are_found_by_stem_and_part_and_signs_are_taken_as_they_stand(kind: str, tmp_path: Path) -> None:
    """The same answers in both databases; no sign in a query is ever a wild card or an operator."""
    async with a_store(kind, tmp_path) as store, store.begin() as uow:
        for one in ENTRIES:
            await uow.enter(one)
        for words, numbers in FOUND.items():
            found = await uow.search("room", ["c1"], Wanted(words))
            assert [e.trial_id for e in found] == [f"t{n}" for n in numbers], words


@pytest.mark.parametrize("kind", BOTH)
async def test_filters_by_lever_verdict_date_and_owner(kind: str, tmp_path: Path) -> None:
    """Each alone and together; the newest first; never another team's."""
    async with a_store(kind, tmp_path) as store, store.begin() as uow:
        for one in ENTRIES:
            await uow.enter(one)

        async def numbers(**wanted: object) -> list[str]:
            found = await uow.search("room", ["c1"], Wanted(**wanted))  # type: ignore[arg-type]
            return [e.trial_id for e in found]

        assert await numbers(lever="activation") == ["t3"]
        assert await numbers(verdict="not met") == ["t2"]
        assert await numbers(owner="eva") == ["t1", "t3"]
        assert await numbers(since=NOW - timedelta(days=2)) == ["t1", "t2"]
        assert await numbers(until=NOW - timedelta(days=2)) == ["t3"]
        assert await numbers(words="call", owner="kiss", verdict="met") == ["t1", "t3"]
        assert await uow.search("other", ["c1"], Wanted()) == []


@pytest.mark.parametrize("kind", BOTH)
async def test_an_entry_is_brought_up_to_date_and_its_old_words_are_gone(kind: str, tmp_path: Path) -> None:
    """One entry a trial; the full text follows it."""
    async with a_store(kind, tmp_path) as store, store.begin() as uow:
        await uow.enter(ENTRIES[0])
        await uow.enter(replace(ENTRIES[0], title="Write to new teams", hypothesis="", learning="Letters are kept"))
        assert await uow.search("room", ["c1"], Wanted("calling")) == []
        assert len(await uow.search("room", ["c1"], Wanted("letter"))) == 1
        assert len(await uow.search("room", ["c1"], Wanted())) == 1


@pytest.mark.parametrize("kind", BOTH)
async def test_a_trial_reads_back_as_it_was_written_and_its_private_part_is_sealed(kind: str, tmp_path: Path) -> None:
    """Everything of it, weeks and corrections included; chances, fears and learnings stand nowhere in clear."""
    figures = Entry(1, Figures(58, 1000), Figures(40, 1000), by=OWNER, at=NOW)
    trial = a_trial(
        weeks={1: (figures, replace(figures, reason="typo"))}, looks=(1,), chances={OWNER: 40}, fears=("canary fear",),
        feared={OWNER: "canary doubt"}, learnings={OWNER: "canary learning"},
    )  # fmt: skip
    async with a_store(kind, tmp_path) as store:
        async with store.begin() as uow:
            await uow.add_trial(trial, NOW)
        async with store.begin() as uow:
            assert await uow.trial(trial.id) == trial
            assert [t.id for t in await uow.trials_owned("t", OWNER)] == [trial.id]
    if kind == "sqlite":
        assert b"canary" not in b"".join(file.read_bytes() for file in tmp_path.glob("bot.db*"))


def test_a_query_has_words_and_filters() -> None:
    """`lever:`, `verdict:`, `owner:`, `since:` and `until:` filter; everything else is looked for as it stands."""
    wanted = read_query('call 50% lever:retention verdict:"not met" owner:mia since:2026-01-31 http://x')
    assert wanted is not None
    assert (wanted.words, wanted.lever, wanted.verdict, wanted.owner) == (
        "call 50% http://x",
        "retention",
        "not met",
        "mia",
    )
    assert wanted.since == datetime(2026, 1, 31, tzinfo=UTC)
    assert read_query("  ") is None


@pytest.mark.parametrize(
    ("text", "title"),
    [
        ("Call the new teams. If we call teams they stay: more", "Call new teams"),
        ("Paint the office. If walls are green people smile.", None),
    ],
)
def test_a_plan_is_like_an_earlier_one_by_the_words_that_both_share(text: str, title: str | None) -> None:
    """Near is shown, far is not."""
    best = nearest(text, ENTRIES)
    assert (best.title if best else None) == title
