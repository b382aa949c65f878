"""Every calendar file of the demo, read by two parsers that know nothing of the one that wrote it."""

from __future__ import annotations

import warnings
from datetime import datetime

from tests.demo.main_scenario import MainPlay

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


def test_two_parsers_find_the_moments_that_the_demo_means(main_play: MainPlay) -> None:
    """Of the whole round and its trials: each file says the same to both, and what was asked to be written."""
    assert {"round.ics", "commitment.ics", "review.ics"} <= {name for name, _ in main_play.files}
    meant = [{a.uid: a.starts.replace(microsecond=0) for a in entries} for entries in main_play.asked]
    for name, text in main_play.files:
        moments = by_vobject(text)
        assert moments == by_ics(text), name
        assert moments in meant, name
        assert moments
