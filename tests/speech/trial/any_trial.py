"""Trials of any kind with any numbers, and whether there is anything in them to compare."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from coldframe.domain.state import TWO_GROUPS
from coldframe.domain.trial.state import Entry, Figures, Trial
from tests.speech.trial import every_verdict as table
from tests.speech.trial.every_verdict import Case
from tests.speech.trials import a_trial

shares = st.integers(0, 300).flatmap(lambda people: st.builds(Figures, st.integers(0, people), st.just(people)))
averages = st.builds(Figures, st.floats(0, 40), st.integers(2, 300), st.floats(0, 15))
plain_values = st.builds(Figures, st.integers(0, 60))
counted_per_unit = st.builds(Figures, st.integers(0, 300), st.integers(1, 3000))
NUMBERS = {
    "split": shares,
    "rate": counted_per_unit,
    "share": shares,
    "mean": averages,
    "before-after": st.one_of(shares, st.builds(Figures, st.floats(0, 1))),
    "count": plain_values,
}
ABOUT = {
    "split": [{"baseline": 0.1, "target": 0.2}, {"baseline": 0.2, "target": 0.1, "upwards": False}],
    "mean": [{"baseline": 10.0, "target": 12.0}],
    "rate": [{"baseline": 0.05, "target": 0.07}, {"baseline": 0.07, "target": 0.05, "upwards": False}],
    "share": [{"baseline": 0.2, "target": 0.3}, {"baseline": 0.3, "target": 0.2, "upwards": False}],
    "before-after": [
        {"baseline": b, "baseline_weeks": table.BASELINE[:n], "target": 0.12}
        for b, n in ((None, 8), (None, 6), (0.1, 3), (0.1, 0))
    ],
    "count": [
        {"baseline": 20.0, "target": 30.0},
        {"baseline": None, "target": 30.0},
        {"baseline": None, "baseline_weeks": table.USUAL, "target": 30.0},
        {"baseline": 30.0, "target": 20.0, "upwards": False},
    ],
}


@st.composite
def trials(draw: st.DrawFn) -> Case:
    """Any numbers of any kind, gaps and weeks that were never logged among them, at any moment."""
    kind = draw(st.sampled_from(list(NUMBERS)))
    numbers, two = NUMBERS[kind], kind in TWO_GROUPS
    entries = []
    for week in sorted(draw(st.sets(st.integers(1, 6), max_size=6))):
        state = draw(st.sampled_from(["whole", "whole", "whole", "broken"]))
        groups = (draw(numbers), draw(numbers) if two else None) if state == "whole" else (None, None)
        entries.append(Entry(week, *groups, state, draw(st.sampled_from([None, 0.0, 4.0, 999_999.0]))))
    guards = draw(st.sampled_from([{}, {"harm_limit": 4.0}, {"harm_limit": 4.0, "harm_usual": 2.0, "stop_at": 0.01}]))
    guards |= {"planned_share": draw(st.sampled_from([0.5, 0.2]))}
    about = draw(st.sampled_from(ABOUT[kind])) | guards
    trial = a_trial(kind=kind, weekly=draw(st.sampled_from([None, 400.0])), **about)
    looks = tuple(range(1, len(entries) + 1 + draw(st.sampled_from([0, 0, 3]))))
    trial = replace(trial, weeks={e.week: (e,) for e in entries}, looks=looks)
    trial = replace(
        trial, stopped=draw(st.sampled_from(["", "", "enough"])), counting_checked=draw(st.sampled_from(["", "Ann"]))
    )
    return Case("", trial, max([*trial.weeks, 0]) + draw(st.integers(0, 3)))


def whole(trial: Trial) -> dict[int, Entry]:
    return {entry.week: entry for entry in trial.entries() if entry.state == "whole"}


def can_be_compared(trial: Trial) -> bool:
    weeks = whole(trial).values()
    if trial.criterion.kind == "before-after":
        return len(trial.criterion.baseline_weeks) >= 6 and len(weeks) >= 2
    if trial.criterion.kind == "share":
        return all(e.trial is not None and e.trial.of is not None for e in weeks) and bool(weeks)
    return all(
        any(group and group.of for group in groups)
        for groups in zip(*((e.trial, e.control) for e in weeks), strict=True)
    )
