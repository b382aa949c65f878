"""What the verdicts of the ten worked cases say to somebody without statistics: the whole message, to be read here.

Each begins with one plain sentence; the numbers come under it. The cases are those of `tests/analysis/test_verdict.py`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coldframe.domain.trial.state import Figures, Trial
from coldframe.engine.worker.judging import judge
from coldframe.message.nodes import Message
from coldframe.speech.trial import verdict_words
from tests.engine.seeing_through import words
from tests.speech.trials import START, a_trial, with_split, with_values

BASELINE = tuple((x, 1000.0) for x in (100, 104, 97, 101, 99, 103, 98, 102))
USUAL = tuple((float(x), 1.0) for x in (5, 6, 4, 5, 7, 3, 5, 5))


def _before_after() -> Trial:
    about = {"measure": "share of teams that come back", "baseline": None, "target": 0.12}
    return a_trial(kind="before-after", baseline_weeks=BASELINE, **about)


def _counted() -> Trial:
    return a_trial(kind="count", measure="teams won back", baseline=20.0, target=30.0, baseline_weeks=USUAL)


def said(trial: Trial, after_weeks: int) -> str:
    """The message as it is read, line by line."""
    judged = judge(trial, START + timedelta(weeks=after_weeks))
    below = words(Message((), verdict_words.blocks(trial, judged)))
    return f"{verdict_words.sentence(trial, judged)}\n{below}\n"


def test_met_in_a_split_test() -> None:
    """A met criterion says both levels and that chance would hardly give them; the numbers follow."""
    assert (
        said(
            with_split(
                a_trial(),
                [
                    ((40, 1000), (58, 1000)),
                    ((42, 1000), (60, 1000)),
                    ((38, 1000), (57, 1000)),
                    ((40, 1000), (61, 1000)),
                ],
            ),
            after_weeks=4,
        )
        == """\
Criterion met: 5.9% with the change, 4% without it, more than chance would plausibly give.
Measure: share of visitors who sign up
Difference: +1.9 points; with 95% confidence +0.92 to +2.9 points
Wanted: +2 points
Weeks: 4 of 4; looked at 4 times, which the interval allows for
First week alone: +1.8 points
Evidence: strong (two groups at the same time)
If people were put into the two groups by chance, the change is the likely cause.
"""
    )


def test_not_met() -> None:
    """Not met says what can be ruled out, and is never put as a proof that nothing changed."""
    assert (
        said(
            with_split(a_trial(), [((40, 1000), (x, 1000)) for x in (41, 39, 40, 42)]),
            after_weeks=4,
        )
        == """\
Criterion not met: 4% with the change, 4% without it, and the +2 points that were wanted can be ruled out.
Measure: share of visitors who sign up
Difference: +0.05 points; with 95% confidence −0.84 to +0.94 points
Wanted: +2 points
Weeks: 4 of 4; looked at 4 times, which the interval allows for
First week alone: +0.1 points
Evidence: strong (two groups at the same time)
If people were put into the two groups by chance, the change is the likely cause.
"""
    )


def test_too_early() -> None:
    """While weeks are to come it says how many are in, and the chance of getting there."""
    assert (
        said(
            with_split(a_trial(), [((40, 1000), (57, 1000))]),
            after_weeks=1,
        )
        == """\
Too early to tell: 1 of 4 weeks is in, and the numbers still fit both no change and the target.
Measure: share of visitors who sign up
Difference: +1.7 points; with 95% confidence −2.7 to +6.2 points
Wanted: +2 points
Weeks: 1 of 4; looked at once, which the interval allows for
Chance to meet it by the end: 81%
Evidence: strong (two groups at the same time)
If people were put into the two groups by chance, the change is the likely cause.
"""
    )


def test_mismatch_in_the_split() -> None:
    """Groups of the wrong sizes are named first: nobody should look at the effect before the counting."""
    assert (
        said(
            with_split(a_trial(), [((40, 1000), (75, 1150))] * 4),
            after_weeks=4,
        )
        == """\
Cannot tell: the two groups are not as large as they should be (4,000 and 4,600 people), so look at the counting before anything else.
Measure: share of visitors who sign up
Difference: +2.5 points; with 95% confidence +1.6 to +3.5 points
Wanted: +2 points
Weeks: 4 of 4; looked at 4 times, which the interval allows for
First week alone: +2.5 points
Evidence: weak (the groups are not as planned)
- The groups hold 4,000 and 4,600 people, which chance does not explain.
If people were put into the two groups by chance, the change is the likely cause.
"""  # noqa: E501
    )


def test_too_good_to_be_true() -> None:
    """A result far above the plan cannot be met before somebody checked the counting."""
    assert (
        said(
            with_split(a_trial(), [((40, 1000), (110, 1000))] * 4),
            after_weeks=4,
        )
        == """\
Cannot tell: 11% with the change, 4% without it, too good to be taken as it stands; somebody must check the counting first.
Measure: share of visitors who sign up
Difference: +7 points; with 95% confidence +5.8 to +8.2 points
Wanted: +2 points
Weeks: 4 of 4; looked at 4 times, which the interval allows for
First week alone: +7 points
Evidence: strong (two groups at the same time)
- Results far above the plan are mostly faults of the counting.
If people were put into the two groups by chance, the change is the likely cause.
"""  # noqa: E501
    )


def test_before_after() -> None:
    """A before-after trial changed something; the sentence never says that it caused it."""
    assert (
        said(
            with_values(_before_after(), [Figures(x, 1000) for x in (118, 121, 119, 123)]),
            after_weeks=4,
        )
        == """\
Criterion met: 12% in the weeks of the trial, 10.1% in the weeks before; it changed, and nobody can say that the trial caused it.
Measure: share of teams that come back
Difference: +2 points; with 95% confidence +1.6 to +2.3 points
Wanted: +2 points
Weeks: 4 of 4; decided at the end
Evidence: weak (earlier weeks are the only comparison)
Compared with earlier weeks: it changed. Whatever else happened meanwhile is in the difference too.
"""  # noqa: E501
    )


def test_count_missed_by_one() -> None:
    """A count that misses by one is not met, and the sentence says that chance alone can do that."""
    assert (
        said(
            with_values(_counted(), [Figures(n) for n in (7, 8, 6, 8)]),
            after_weeks=4,
        )
        == """\
Criterion not met: 29 were counted, 30 were wanted; missed by 1, which chance alone can do, but the line was drawn beforehand.
Measure: teams won back
Counted: 29; chance alone makes it 19.4 to 41.6
Wanted: 30 over 4 weeks
Weeks: 4 of 4; decided at the end
Evidence: fair (the usual level is known from earlier weeks)
A count against a number: it says what came in, not what brought it.
"""  # noqa: E501
    )


def test_zero_events() -> None:
    """Where nothing happened nothing can be told."""
    assert (
        said(
            with_split(a_trial(), [((0, 50), (0, 50))] * 4),
            after_weeks=4,
        )
        == """\
Cannot tell: nothing happened in either group.
Measure: share of visitors who sign up
Difference: 0 points; with 95% confidence −2 to +2 points
Wanted: +2 points
Weeks: 4 of 4; looked at 4 times, which the interval allows for
First week alone: 0 points
Evidence: strong (two groups at the same time)
If people were put into the two groups by chance, the change is the likely cause.
"""
    )


def test_one_huge_week() -> None:
    """One week that carries the result is named."""
    assert (
        said(
            with_split(a_trial(), [((40, 1000), (x, 1000)) for x in (44, 42, 126, 40)]),
            after_weeks=4,
        )
        == """\
Cannot tell: week 3 alone carries the result and does not fit the others; check its counting first.
Measure: share of visitors who sign up
Difference: +2.3 points; with 95% confidence +1.3 to +3.3 points
Wanted: +2 points
Weeks: 4 of 4; looked at 4 times, which the interval allows for
First week alone: +0.4 points
Evidence: strong (two groups at the same time)
- Week 3 (12.6%) does not fit the others (4.2%).
If people were put into the two groups by chance, the change is the likely cause.
"""
    )


def test_stopped_early() -> None:
    """A trial stopped early says after how many weeks, and that they were too few."""
    assert (
        said(
            replace(
                with_split(a_trial(), [((40, 1000), (45, 1000)), ((40, 1000), (52, 1000))]), stopped="sign-ups fell"
            ),
            after_weeks=2,
        )
        == """\
Cannot tell: it was stopped after 2 of 4 weeks, before the numbers could say anything sure.
Measure: share of visitors who sign up
Difference: +0.85 points; with 95% confidence −1.1 to +2.8 points
Wanted: +2 points
Weeks: 2 of 4; looked at 2 times, which the interval allows for
First week alone: +0.5 points
Evidence: strong (two groups at the same time)
If people were put into the two groups by chance, the change is the likely cause.
"""
    )


def test_every_verdict_begins_with_one_sentence_of_its_own() -> None:
    """The first line is one sentence, names the verdict in its first words, and has no statistics in it."""
    trial = with_split(a_trial(), [((40, 1000), (57, 1000))])
    first = said(trial, 1).splitlines()[0]
    assert first.startswith(("Criterion met:", "Criterion not met:", "Too early to tell:", "Cannot tell:"))
    assert first.endswith(".") and first.count(". ") == 0
    assert not any(word in first for word in ("confidence", "interval", "p =", "significan"))


def test_a_criterion_that_cannot_be_judged_says_so() -> None:
    """A target on the wrong side of the earlier weeks is no crash: cannot tell, and why."""
    judged = judge(replace(_before_after(), criterion=replace(_before_after().criterion, target=0.09)), START)
    assert verdict_words.sentence(_before_after(), judged).startswith("Cannot tell: the criterion")
    assert "target is 0.09" in judged.problem


@pytest.mark.parametrize(("share", "shown"), [(0.059, "5.9%"), (0.04, "4%"), (0.0005, "0.05%"), (1.0, "100%")])
def test_shares_are_said_in_per_cent(share: float, shown: str) -> None:
    """A share is shown in per cent, with no more places than it carries."""
    assert verdict_words.value(a_trial(), share) == shown


def test_holidays_within_the_trial_share_one_sentence() -> None:
    """Several holidays, or one of several days, are one line of caution."""
    days = tuple((name, START + timedelta(days=n)) for n, name in enumerate(("Long feast", "Long feast", "New moon")))
    trial = with_split(a_trial(), [((40, 1000), (45, 1000))])
    below = words(Message((), verdict_words.blocks(trial, judge(trial, START + timedelta(weeks=1), days))))
    assert below.count("feast") == 1
    assert "Within the trial's weeks: Long feast, New moon." in below
