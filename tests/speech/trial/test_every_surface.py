"""Wherever a trial is spoken of, its numbers carry what is said: the answer to an entry, the card, lists, the digest,
the review, the register, the story of the round, the report and the picture."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from hypothesis import given, settings

from coldframe.domain.commands import BOT
from coldframe.domain.trial import guarding, life, standing
from coldframe.domain.trial.commands import TakeReading
from coldframe.domain.trial.state import Closing, Trial, TrialStep
from coldframe.engine.trial.weekly import as_reading
from coldframe.message.nodes import Drawing, Message, Page, plain
from coldframe.speech import report_pages
from coldframe.speech.register import digest_words, register_words, story_words
from coldframe.speech.register.digest_words import Digest, TrialRow
from coldframe.speech.register.story_words import Story
from coldframe.speech.report_pages import Shown
from coldframe.speech.trial import guard_words, review_words, trial_words
from coldframe.speech.trial.verdict_words import Judged
from tests.engine.seeing_through import words
from tests.speech.trial.any_trial import can_be_compared, trials, whole
from tests.speech.trial.every_verdict import Case, cases
from tests.speech.trials import FACILITATOR, OWNER, START

COMPARED = re.compile(
    "Difference:|First week alone|with the change, .{1,40} without it|weeks of the trial, .{1,40} (before|against)|"
    "worse so far: .* against|Worse by now|more than chance would|can be ruled out|point the wrong way|rule out|"
    "fits? (both )?no change|beyond the target so far|[Cc]hance (to show|of showing)|the target would be reached in|"
    "Interval for the trial|alone they (?!leave it open)"
)
USUAL = re.compile("usual(?! in a week)|without any change")


def spoken(case: Case) -> Iterator[tuple[str, str]]:
    """Each message about the trial as it stands, by its name."""
    judged, today = case.judged(), START + timedelta(weeks=case.after)
    now = datetime.combine(today, time(9), UTC)
    taken = TakeReading(BOT, as_reading(case.trial, judged))
    trial = life.replay(case.trial, life.decide(case.trial, taken, now))
    yield "answer", words(trial_words.reading(trial, judged, trial.entries()))
    yield "in full", words(trial_words.reading_in_full(trial, judged))
    yield "card", words(trial_words.card(trial, today))
    yield "list", words(trial_words.under_way([(trial, today)], OWNER))
    yield "digest", words(digest_words.message(_digest(trial, today, now)))
    yield "digest as a file", digest_words.markdown(_digest(trial, today, now))
    yield "before the review", words(review_words.brief(trial, today))
    if guarding.undecided(trial):
        yield "crossed", words(guard_words.crossed(trial))
    yield from _reviewed(trial, judged, today, now)


def _digest(trial: Trial, today: date, now: datetime) -> Digest:
    reading, given_ = trial.reading, standing.stands(trial)
    assert reading is not None
    row = TrialRow(
        trial.title, "Mia", plain(trial_words.state_line(trial, today)), "", reading.chance, None, "", (), "",
        (*guard_words.open_lines(trial), *reading.alerts), reading.chance_high,
        decided=digest_words.decided(given_.outcome, given_.sentence) if given_ is not None else "",
    )  # fmt: skip
    return Digest("c", now, None, (), (row,), (), (), 1, None)


def _reviewed(trial: Trial, judged: Judged, today: date, now: datetime) -> Iterator[tuple[str, str]]:
    in_review = replace(trial, step=TrialStep.IN_REVIEW)
    yield "review", words(review_words.verdict(in_review, judged, today))
    assert trial.reading is not None
    closing = Closing(trial.reading.outcome, trial.reading.sentence, "stop", "enough", "we asked", FACILITATOR, now)
    closed = replace(trial, step=TrialStep.REVIEWED, closing=closing)
    yield "closed", words(review_words.closed(closed, None))
    yield "story", words(story_words.read_back(Story("spring", "how?", [closed], ())))
    yield "register", words(register_words.results("", "", [_found(closed, now)], more=False))
    for each in (trial, closed):
        yield f"report, {each.step}", _page(report_pages.of_trial(Shown(each, judged, today), now, "UTC"))


def _found(trial: Trial, now: datetime) -> register_words.Found:
    assert trial.closing is not None
    outcome, sentence = trial.closing.outcome, trial.closing.sentence
    return register_words.Found(trial.title, "spring", "l", outcome, "stop", sentence, "", "Mia", now)


def _page(page: Page) -> str:
    parts = [part for chapter in page.chapters for part in chapter.parts]
    blocks = tuple(part for part in (*page.lead, *parts) if not isinstance(part, Drawing))
    drawn = [part.chart.alternative() for part in parts if isinstance(part, Drawing)]
    return "\n".join([words(Message((), blocks)), *drawn])


def holds(case: Case) -> None:
    trial, found = case.trial, dict(spoken(case))
    for name, text in found.items():
        compared = COMPARED.search(text) if trial.criterion.kind != "count" else None
        assert not compared or can_be_compared(trial), f"{name}: a comparison without its data: {text}"
        usual = USUAL.search(text) if trial.criterion.kind == "count" else None
        known = trial.criterion.baseline is not None or trial.criterion.baseline_weeks
        assert not usual or known or trial.criterion.harm_usual is not None, f"{name}: a level nobody knows: {text}"
        assert "First week alone" not in text or 1 in whole(trial), f"{name}: a first week that was not counted: {text}"


def test_every_case_of_the_table_is_spoken_of_truly() -> None:
    """And comparisons are made somewhere, or nothing would be tried."""
    table = list(cases())
    for case in table:
        holds(case)
    seen = {name for case in table for name, text in spoken(case) if COMPARED.search(text)}
    assert seen >= {"answer", "in full", "card", "list", "digest", "review", "closed", "story", "register"}
    assert any(name.startswith("report") for name in seen)


@settings(max_examples=2 * settings().max_examples)
@given(case=trials())
def test_no_surface_states_a_comparison_whose_data_do_not_exist(case: Case) -> None:
    holds(case)


def test_groups_of_the_wrong_sizes_are_drawn_without_an_interval() -> None:
    """The words withhold the difference, and the picture does."""
    case = next(each for each in cases() if each.name == "two groups: cannot tell, wrong sizes")
    trend = case.judged().trend
    assert trend is not None and trend.interval() is None
    assert "Interval for the trial" not in trend.alternative()
