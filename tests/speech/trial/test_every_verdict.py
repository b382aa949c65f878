"""Every verdict says what is true of its own case: the table, and what holds for any trial whatever."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings

from coldframe.analysis import cautions, verdict
from coldframe.analysis.outcomes import GIVEN, Outcome, Reason
from coldframe.domain.commands import BOT
from coldframe.domain.state import ComparisonKind
from coldframe.domain.trial import life, standing
from coldframe.domain.trial.commands import TakeReading
from coldframe.domain.trial.state import Figures
from coldframe.engine.trial.weekly import as_reading
from coldframe.speech.trial.caution_words import ALERTS
from tests.speech.trial import every_verdict as table
from tests.speech.trial.any_trial import can_be_compared, trials, whole
from tests.speech.trial.every_verdict import Case, before_after, cases, having, split
from tests.speech.trials import START

NOW = datetime.combine(START, time(9), UTC)
ALL = {one.name: one for one in cases()}
FIRST_WORDS = ("Reached: ", "Better: ", "Not reached: ", "Worse: ", "Too early to tell: ", "Cannot tell: ")


def test_the_table_stands_as_it_was_read() -> None:
    """Each verdict of each design, and each caution, whole. Another wording: write the table anew, and read it."""
    assert table.text() == table.TABLE.read_text(encoding="utf-8")


def test_the_table_has_every_verdict_of_every_design_and_every_caution() -> None:
    """And each reason that the rules know."""
    judged = {name: one.judged().verdict for name, one in ALL.items()}
    seen = {(one.trial.criterion.kind, judged[name].outcome) for name, one in ALL.items()}
    assert seen == set(product(get_args(ComparisonKind), Outcome))
    assert {one.reason for one in judged.values()} == set(Reason) - {Reason.TOO_FEW}
    warned = {caution.code for one in judged.values() for caution in one.warnings}
    assert set(ALERTS) <= warned
    raised = "".join(Path(each.__file__).read_text(encoding="utf-8") for each in (cautions, verdict))
    assert set(re.findall(r'Caution\(\s*"([a-z-]+)"', raised)) == warned


CONTRADICTIONS = [
    ("nothing to compare with", "Difference:"),
    ("nothing to compare with", "it changed"),
    ("nothing to compare with", "earlier weeks are the only comparison"),
    ("nothing can be compared", "Difference:"),
    ("earlier weeks? (is|are) known, and it takes", "Difference:|in the weeks before|it changed"),
    ("groups are not as large as they should be", "Evidence: strong|Difference:|[0-9]% with the change|likely cause"),
    ("^(Reached|Better|Worse|Not reached):", "Progress so far|no verdict"),
    ("^(Reached|Better|Worse):", "“Not reached” doesn't prove"),
    ("^Too early|^Cannot tell", "likely cause|This verdict stands|“Not reached”"),
    ("^Not reached", "likely cause|more than chance"),
    ("Looked at more often", "which the interval allows for|doesn't weaken"),
    ("no numbers are in|has not begun", "Difference:|Counted:|Evidence|with the change|Progress so far"),
    ("stays open", "can be ruled out"),
    ("as it stands; somebody must check", "has checked the counting"),
]


@pytest.mark.parametrize(("one", "other"), CONTRADICTIONS)
def test_no_sentence_contradicts_another(one: str, other: str) -> None:
    """In none of the table's messages do both stand, and one of them does somewhere."""
    messages = [case.message() for case in ALL.values()]
    found = [text for text in messages if re.search(one, text, re.MULTILINE)]
    assert found
    assert [text for text in found if re.search(other, text, re.MULTILINE)] == []


def holds(case: Case) -> None:
    """What is true of every message: see the messages of the assertions."""
    verdict, text, trial = case.judged().verdict, case.message(), case.trial
    assert verdict is not None
    for one, other in CONTRADICTIONS:
        both = re.search(one, text, re.MULTILINE) and re.search(other, text, re.MULTILINE)
        assert not both, f"{one} beside {other}: {text}"
    if re.search(r"Difference:|First week alone|with the change, .* without|weeks of the trial, .* before", text):
        assert can_be_compared(trial), f"a comparison without its data: {text}"
    guarded = [e.harm for e in trial.entries() if e.harm is not None]
    if "went past its limit" in text:
        assert trial.criterion.harm_limit is not None and max(guarded) > trial.criterion.harm_limit, text
        assert text.startswith("Harm: "), f"harm comes first: {text}"
    if "The stop line is reached" in text:
        assert trial.criterion.stop_at is not None, f"a stop line that nobody set: {text}"
    if "First week alone" in text:
        assert 1 in whole(trial), f"a first week that was not counted: {text}"
    if trial.criterion.kind == "count" and re.search("usual|without any change", text):
        assert trial.criterion.baseline is not None or trial.criterion.baseline_weeks, (
            f"a level that nobody knows: {text}"
        )
    if trial.criterion.kind == "count" and "Counted:" in text:
        assert whole(trial), f"a count of no week: {text}"
    if verdict.effect is not None and verdict.no_effect is not None and trial.criterion.kind != "count":
        inside = verdict.effect.low <= verdict.no_effect <= verdict.effect.high
        if re.search("fits? (both )?no change", text):
            assert inside, f"no change does not fit: {text}"
        if "rule out “no change”" in text or re.match("(Reached|Better|Worse):", text):
            assert not inside, f"no change fits: {text}"
    if verdict.outcome in GIVEN:
        assert verdict.weeks_used >= 2, f"a verdict from one week: {text}"
        assert text.startswith((*FIRST_WORDS, "It looks worse so far: ")) or "Harm" in text


@pytest.mark.parametrize("name", ALL)
def test_each_message_of_the_table_is_true(name: str) -> None:
    holds(ALL[name])


@settings(max_examples=4 * settings().max_examples)
@given(case=trials())
def test_no_message_of_any_trial_states_what_its_numbers_do_not_hold(case: Case) -> None:
    """No comparison whose data do not exist, nothing that another sentence contradicts, no verdict from one week."""
    holds(case)


def test_an_interval_that_falls_short_of_the_target_does_not_read_as_if_it_held_it() -> None:
    """Its end would be rounded to what was wanted, which it rules out."""
    (difference,) = re.findall("Difference: .*", ALL["two groups: a week not logged, at the review"].message())
    assert difference.endswith("to +1.96 points"), difference


def test_nothing_is_sure_while_weeks_are_to_come() -> None:
    """Whatever the numbers are; a count alone may be there already."""
    said = {name: re.findall("Chance to .*: (100|0)%", one.message()) for name, one in ALL.items()}
    assert {name.partition(":")[0] for name, found in said.items() if found} == {"count"}


# --- what was said stays said ---

STRONG, WEAK, FLAT = (2000, 400, 510), (2000, 400, 330), (2000, 400, 400)


def weeks_of(*kinds: tuple[int, int, int], **changes: object) -> Case:
    rows = [((old, people), (new, people)) for people, old, new in kinds]
    return split([r[0] for r in rows], [r[1] for r in rows], **{"baseline": 0.2, "target": 0.26, **changes})


def read(case: Case) -> Case:
    """As it is after its reading was taken, by the rules of the domain alone."""
    facts = life.decide(case.trial, TakeReading(BOT, as_reading(case.trial, case.judged())), NOW)
    return replace(case, trial=life.replay(case.trial, facts))


def grown(case: Case, more: Case) -> Case:
    """The same trial with the weeks of another."""
    trial = replace(case.trial, weeks=more.trial.weeks, looks=more.trial.looks)
    return replace(case, trial=trial, after=more.after)


def test_a_verdict_given_is_not_taken_back_by_later_weeks() -> None:
    """Better after two weeks stays, and what all four show is said beside it."""
    given_ = read(weeks_of(STRONG, STRONG))
    assert given_.trial.reading.outcome == "better"
    later = read(grown(given_, weeks_of(STRONG, STRONG, WEAK, WEAK)))
    assert later.judged().verdict.outcome is Outcome.NOT_REACHED
    assert later.trial.reading.outcome == "better"
    assert later.trial.reading.sentence == (
        "Better: 25.5% with the change, 20% without it, more than chance would plausibly give. Whether it is the +6 "
        "points that were wanted stays open. That verdict, after 2 weeks, stands. 4 weeks together: 21% with the "
        "change, 20% without it; alone they would rule out the +6 points that were wanted."
    )
    assert len(later.trial.given) == 1


def test_better_becomes_reached_when_the_weeks_say_more() -> None:
    """That takes nothing back."""
    later = read(grown(read(weeks_of(STRONG, STRONG)), weeks_of(STRONG, STRONG, (2000, 400, 560), (2000, 400, 560))))
    assert later.trial.reading.outcome == "reached"
    assert later.trial.reading.sentence.startswith("Reached: ")
    assert [one.outcome for one in later.trial.given] == ["better", "reached"]


def test_not_reached_becomes_worse_when_the_weeks_say_so() -> None:
    """That takes nothing back either."""
    poor, bad = (20_000, 4000, 3990), (20_000, 4000, 3300)
    given_ = read(weeks_of(poor, poor))
    assert given_.trial.reading.outcome == "not reached"
    later = read(grown(given_, weeks_of(poor, poor, bad, bad)))
    assert later.trial.reading.outcome == "worse"
    assert later.trial.reading.sentence.startswith("Worse: ")


def test_worse_is_said_first_beside_a_verdict_that_stands() -> None:
    """Whatever was said before."""
    bad = (2000, 400, 200)
    later = read(grown(read(weeks_of(STRONG, STRONG)), weeks_of(STRONG, STRONG, bad, bad)))
    assert later.trial.reading.outcome == "better"
    assert later.trial.reading.sentence.startswith("Worse by now: 17.8% with the change, 20% without it. Better: ")


def test_a_corrected_number_is_judged_anew_and_both_are_shown() -> None:
    """The verdict rested on numbers that were not so."""
    given_ = read(weeks_of(STRONG, STRONG))
    entry = given_.trial.weeks[2][0]
    put_right = {**given_.trial.weeks, 2: (entry, replace(entry, trial=Figures(400, 2000), reason="a typing error"))}
    anew = read(having(given_, weeks=put_right))
    assert anew.trial.reading.outcome == "too early"
    assert (
        "Before week 2, Mon 9 to Sun 15 March, was corrected it read: Better: 25.5% with the change" in anew.message()
    )
    again = read(
        grown(
            anew,
            having(
                weeks_of(STRONG, STRONG, STRONG, STRONG),
                weeks={**put_right, **{n: weeks_of(STRONG, STRONG, STRONG, STRONG).trial.weeks[n] for n in (3, 4)}},
            ),
        )
    )
    assert [one.outcome for one in again.trial.given] == ["better", "better"]
    assert standing.stands(again.trial) == again.trial.given[-1]
    assert "Before week 2, Mon 9 to Sun 15 March, was corrected it read: Better: 25.5%" in again.message()


@pytest.mark.parametrize(("then", "now"), [("met", "reached"), ("not met", "not reached")])
def test_a_verdict_of_an_earlier_release_stands_too(then: str, now: str) -> None:
    """Under the name that it has today, with the sentence that was read then."""
    old = weeks_of(FLAT, FLAT)
    reading = replace(read(old).trial.reading, outcome=then, sentence=f"Criterion {then}: as it was.")
    case = read(having(old, reading=reading, given=()))
    assert case.trial.reading.outcome == now
    assert [(one.outcome, one.sentence) for one in case.trial.given] == [(now, f"Criterion {then}: as it was.")]
    later = read(grown(case, weeks_of(FLAT, FLAT, FLAT)))
    assert later.trial.reading.outcome == now and len(later.trial.given) == 1


def test_what_needs_a_look_is_kept_with_the_reading() -> None:
    """For the card and the digest: whatever came in."""
    case = read(split([(96, 240)] * 2, [(96, 240), (0, 240)], baseline=0.4, target=0.5))
    assert case.trial.reading.alerts == (
        "It looks worse so far: 20% against 40%.",
        "Week 2, Mon 9 to Sun 15 March: none of 240 with the change, where about 40% is usual. Is the counting "
        "working?",
    )
    assert read(weeks_of(STRONG)).trial.reading.alerts == ()


def test_a_before_after_trial_has_no_verdict_before_its_end() -> None:
    case = replace(before_after([121, 124, 122]), after=3)
    assert case.judged().verdict.reason is Reason.AT_THE_END
    assert (START + timedelta(weeks=3)) < case.trial.review.date()
