"""What a trial's numbers cross, who decides about it, and that its verdict warns of the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import TWO_GROUPS
from coldframe.domain.trial import guarding, life
from coldframe.domain.trial.commands import LogWeek, SayCalm, SettleCrossing, StopEarly
from coldframe.domain.trial.facts import LineCrossed, StoppedEarly
from coldframe.domain.trial.state import Entry, Figures, Trial
from coldframe.engine.worker.judging import judge
from tests.speech.trials import FACILITATOR, OWNER, START, a_trial

CHIEF = MemberId("dora")
NOW = datetime(2026, 3, 30, 9, tzinfo=UTC)
LIMITS = {"harm_usual": 2.0, "harm_limit": 4.0, "stop_at": 0.03}


def _guarded(**changes: Any) -> Trial:
    people = {OWNER: "Mia", FACILITATOR: "Faye", CHIEF: "Dora", MemberId("jon"): "Jon"}
    return a_trial(people=people, decision_maker=CHIEF, **{**LIMITS, **changes})


def _logged(trial: Trial, week: int, hits: int = 60, **said: Any) -> tuple[Trial, list[LineCrossed]]:
    entry = Entry(week, Figures(hits, 1000), Figures(40, 1000), **said)
    correct = week in trial.weeks
    command = LogWeek(OWNER, replace(entry, reason="typed wrongly" if correct else ""), NOW.date(), correct)
    facts = life.decide(trial, command, NOW)
    return life.replay(trial, facts), [fact for fact in facts if isinstance(fact, LineCrossed)]


@pytest.mark.parametrize(
    ("said", "crossed"),
    [
        ({"harm": 4.0}, []),
        ({"harm": 4.5}, [("harm", 1)]),
        ({"harm": 999_999.0}, [("harm", 1)]),
        ({"stop": True}, [("stop", 1)]),
        ({"harm": 9.0, "stop": True}, [("harm", 1), ("stop", 1)]),
        ({"hits": 31}, []),
        ({"hits": 30}, [("stop", 1)]),
        ({"hits": 30, "stop": True}, [("stop", 1)]),
        ({"calm": True}, []),
    ],
)
def test_what_a_week_crosses_is_known_at_once(said: dict[str, Any], crossed: list[tuple[str, int]]) -> None:
    after, facts = _logged(_guarded(), 1, **said)
    assert [(fact.what, fact.week) for fact in facts] == crossed
    assert [(one.what, one.week) for one in guarding.undecided(after)] == crossed


@pytest.mark.parametrize(("usual", "limit", "harm", "crossed"), [(90.0, 80.0, 79.0, True), (90.0, 80.0, 81.0, False)])
def test_a_limit_below_the_usual_value_is_crossed_downwards(
    usual: float, limit: float, harm: float, crossed: bool
) -> None:
    after, _ = _logged(_guarded(harm_usual=usual, harm_limit=limit), 1, harm=harm)
    assert bool(guarding.undecided(after)) is crossed


def test_without_limits_nothing_is_crossed_but_by_words() -> None:
    bare = _guarded(harm_limit=None, stop_at=None)
    assert _logged(bare, 1, hits=0, harm=999_999.0)[1] == []
    assert [fact.what for fact in _logged(bare, 1, stop=True)[1]] == ["stop"]


def test_a_stop_line_that_stays_crossed_is_asked_about_once() -> None:
    """Until the measure has recovered and crosses it again."""
    trial, first = _logged(_guarded(), 1, hits=20)
    trial, second = _logged(trial, 2, hits=20)
    trial, recovered = _logged(trial, 3, hits=90)
    trial, again = _logged(trial, 4, hits=0)
    assert [[fact.week for fact in facts] for facts in (first, second, recovered, again)] == [[1], [], [], []]
    assert not guarding.undecided(trial), "4.3 % in all by the third week, 3.25 % by the fourth"


def test_a_corrected_week_takes_the_crossing_back() -> None:
    trial, _ = _logged(_guarded(), 1, harm=9.0)
    trial, _ = _logged(trial, 1, harm=3.0)
    assert guarding.undecided(trial) == ()
    with pytest.raises(Refused) as refused:
        life.decide(trial, SettleCrossing(OWNER, stops=False, reason="it was one customer"), NOW)
    assert refused.value.code is Because.NOTHING_CROSSED


@pytest.mark.parametrize("by", [OWNER, FACILITATOR, CHIEF])
def test_owner_facilitator_and_decision_maker_may_decide(by: MemberId) -> None:
    """The first decides for all; with the reason; and another value is decided anew."""
    trial, _ = _logged(_guarded(), 1, harm=9.0)
    facts = life.decide(trial, SettleCrossing(by, stops=False, reason="it was one customer"), NOW)
    trial = life.replay(trial, facts)
    assert guarding.undecided(trial) == () and trial.settled[-1].by == by
    corrected, _ = _logged(trial, 1, harm=12.0)
    assert [one.figure for one in guarding.undecided(corrected)] == [12.0]
    stopped = life.decide(corrected, SettleCrossing(by, stops=True, reason="it is real"), NOW)
    assert isinstance(stopped[-1], StoppedEarly)
    assert guarding.undecided(life.replay(corrected, stopped)) == ()


def test_nobody_else_decides_and_not_without_a_reason() -> None:
    trial, _ = _logged(_guarded(), 1, harm=9.0)
    for by, reason in ((MemberId("jon"), "because"), (OWNER, " "), (OWNER, "no")):
        with pytest.raises(Refused):
            life.decide(trial, SettleCrossing(by, stops=True, reason=reason), NOW)


def test_stopping_early_decides_it_as_well() -> None:
    trial, _ = _logged(_guarded(), 1, harm=9.0)
    after = life.replay(trial, life.decide(trial, StopEarly(OWNER, "it is real"), NOW))
    assert after.settled[-1].stops and guarding.undecided(after) == ()


def test_one_tap_says_that_nothing_happened() -> None:
    trial, _ = _logged(_guarded(), 1)
    assert trial.entry(1) is not None and not trial.entry(1).calm
    trial = life.replay(trial, life.decide(trial, SayCalm(OWNER, 1), NOW))
    assert trial.entry(1).calm
    assert life.decide(trial, SayCalm(OWNER, 1), NOW) == ()
    harmed, _ = _logged(_guarded(), 1, harm=9.0)
    assert life.decide(harmed, SayCalm(OWNER, 1), NOW) == (), "what was said of harm stays"


@given(
    kind=st.sampled_from(["split", "share", "rate", "mean", "count", "before-after"]),
    values=st.lists(st.integers(0, 60), min_size=2, max_size=4),
    harms=st.lists(st.one_of(st.none(), st.floats(0, 8)), min_size=4, max_size=4),
)
def test_the_verdict_warns_of_the_same(kind: str, values: list[int], harms: list[float | None]) -> None:
    """The rules of the numbers, which the message is made from, and those of the domain, which the question is."""
    about: dict[str, Any] = {"baseline": 0.5, "target": 0.6, "stop_at": 0.4}
    if kind in ("mean", "count"):
        about = {"baseline": 30.0, "target": 40.0, "stop_at": 24.0}
    weeks = {"baseline_weeks": tuple((50.0 + n, 100.0) for n in range(6))} if kind == "before-after" else {}
    trial = _guarded(kind=kind, weekly=None, **about, **weeks)
    entries = {
        n: (Entry(n, _figures(kind, v), _figures(kind, 30) if kind in TWO_GROUPS else None, harm=harms[n - 1]),)
        for n, v in enumerate(values, 1)
    }
    trial = replace(trial, weeks=entries)
    verdict = judge(trial, START + timedelta(weeks=len(values))).verdict
    assert verdict is not None
    found = guarding.crossings(trial)
    assert bool(verdict.warns_of("harm")) == any(one.what == "harm" for one in found)
    assert bool(verdict.warns_of("stop-line")) == any(one.what == "stop" for one in found)


def _figures(kind: str, value: int) -> Figures:
    if kind == "count":
        return Figures(value)
    return Figures(value, 60, 10.0) if kind == "mean" else Figures(value, 60)
