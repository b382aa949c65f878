"""Every calendar file of the demo, read by two parsers that know nothing of the one that wrote it."""

from __future__ import annotations

import warnings
from datetime import datetime
from pathlib import Path
from typing import Any

from coldframe.clock import SeededIds
from coldframe.message.nodes import Appointment, Attachment, CalendarFile
from coldframe.wiring import House, for_tests
from demo.play import Play, clock_of
from tests.demo.runs import Blank, scenario

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import ics
    import vobject

Moments = dict[str, datetime]


def by_vobject(text: str) -> Moments:
    return {each.uid.value: each.dtstart.value for each in vobject.readOne(text).vevent_list}


def by_ics(text: str) -> Moments:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return {each.uid: each.begin.datetime for each in ics.Calendar(text).events}


def calendar_files(house: House) -> list[tuple[str, str]]:
    """Name and text of every file in the room, oldest first."""
    found = []
    for record in house.room.all_messages():
        for file in record.files:
            kept = house.room.log.file(file.id)
            assert kept is not None
            if file.name.endswith(".ics"):
                found.append((file.name, kept[2].decode("utf-8")))
    return found


async def test_two_parsers_find_the_moments_that_the_demo_means(tmp_path: Path) -> None:
    """Of the whole round and its trials: each file says the same to both, and what was asked to be written."""
    chosen = scenario("quillmarsh")
    clock = clock_of(chosen)
    asked: list[tuple[Appointment, ...]] = []
    async with for_tests(clock, tmp_path, SeededIds(chosen.seed), draughtsman=Blank()) as house:
        make = house.room._make

        async def noted(attachment: Attachment) -> Any:
            if isinstance(attachment, CalendarFile):
                asked.append(attachment.entries)
            return await make(attachment)

        house.room._make = noted  # type: ignore[assignment]
        await Play(chosen, house, clock).run()
        files = calendar_files(house)
    assert {"round.ics", "commitment.ics", "trial.ics"} <= {name for name, _ in files}
    meant = [{a.uid: a.starts.replace(microsecond=0) for a in entries} for entries in asked]
    for name, text in files:
        moments = by_vobject(text)
        assert moments == by_ics(text), name
        assert moments in meant, name
        assert moments
