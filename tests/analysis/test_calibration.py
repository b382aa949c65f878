"""The bench of calibration: what is true is not called off, what is bold is, and the worlds are what they say."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench import calibration
from tests.calibration import found, pairs, promises, trials, votes
from tests.calibration.claims import AT_LEAST, NOT_SAID, Said, banded


def _said(said: float, true: float, *, hard: bool, times: int = 400) -> list[Said]:
    hits = round(true * times)
    return [Said("claim", "world", hard, said, float(n < hits)) for n in range(times)]


@pytest.mark.parametrize(
    ("said", "true", "hard", "off"),
    [
        (0.75, 0.74, False, False),
        (0.75, 0.60, False, True),
        (0.75, 0.90, False, True),
        (0.75, 0.60, True, True),
        (0.75, 0.90, True, False),  # too modest is allowed where the world is hard
        (0.75, 0.70, True, True),  # and bold is not
        (0.75, 0.70, False, False),
    ],
)
def test_a_band_is_off_when_it_is_bold(said: float, true: float, hard: bool, off: bool) -> None:
    """Ordinary worlds both ways, hard ones only away from doubt."""
    (row,) = banded(_said(said, true, hard=hard))
    assert row.off is off


def test_a_small_chance_is_a_bold_word_too() -> None:
    """Where doubt is one half, 5 in 100 said of what happens in 30 is too bold; where it is 0, it is modest."""
    assert [next(banded(_said(0.05, 0.3, hard=True), doubt=doubt)).off for doubt in (0.5, 0.0)] == [True, False]


def _least(true: float, *, hard: bool) -> list[Said]:
    return [Said(f"“probably”, {AT_LEAST}", "world", hard, 0.6, one.true) for one in _said(0.6, true, hard=hard)]


def test_words_promise_the_least_in_every_world() -> None:
    """More is no fault, less is one, wherever it is."""
    for hard in (False, True):
        assert [next(banded(_least(true, hard=hard))).off for true in (0.9, 0.62, 0.45)] == [False, False, True]
        assert next(banded(_least(0.9, hard=hard))).label == "at least 60"


def test_what_the_method_before_said_stands_beside_it_and_is_not_judged() -> None:
    """In its own band, of the same worlds; a band of which only it spoke stands alone."""
    now = [Said("claim", "world", False, 0.65, true) for true in (0.0, 1.0, 1.0) * 40]
    before = [Said("claim", "world", False, said, 0.0, earlier=True) for said in (0.65, 0.95) * 60]
    text, off = calibration.table(now + before, worlds=False)
    lines = {line.split("  ")[2].strip(): line for line in text.splitlines() if "said" in line and " to " in line}
    assert off == 0 and lines["said 60 to 70"].count(" 65.0 ") == 2 and lines["said 60 to 70"].endswith("OFF")
    assert lines["said 90 to 100"].count(" 95.0 ") == 1


def test_bands_do_not_hide_behind_their_average() -> None:
    """One too high and one too low are two bands, both off."""
    rows = list(banded(_said(0.65, 0.45, hard=False) + _said(0.85, 1.0, hard=False)))
    assert [row.off for row in rows] == [True, True]


@pytest.mark.parametrize("make", [votes.statements, pairs.statements, trials.statements])
def test_a_third_of_the_worlds_is_hard(make) -> None:
    """Both kinds come, each statement and its truth are shares, and a seed gives the same worlds again."""
    found = list(make(60, 7))
    assert 0.15 < np.mean([one.hard for one in found]) < 0.5
    assert all(0 <= one.said <= 1 and 0 <= one.true <= 1 for one in found)
    assert found == list(make(60, 7))


def test_what_no_sentence_claims_is_shown_and_never_off() -> None:
    """It stands in the table under its own name."""
    (row,) = banded([Said(f"claim: {NOT_SAID}", "world", True, 0.9, 0.0)] * 100)
    assert row.bold > 0.5 and not row.off


def test_ballots_spend_what_they_have() -> None:
    """At least one vote and at most the quota each; who plumps votes for one option alone."""
    rng = np.random.default_rng(1)
    liking = rng.normal(size=(40, 6, 5))
    cast = votes.ballots(rng, liking, 3, plumping=0.0)
    assert cast.sum(axis=-1).min() >= 1 and cast.sum(axis=-1).max() == 3 and cast.max() == 2
    plumped = votes.ballots(rng, liking, 3, plumping=1.0)
    assert ((plumped > 0).sum(axis=-1) == 1).all()
    assert (plumped.argmax(axis=-1) == liking.argmax(axis=-1)).all()


def test_the_first_place_is_shared_by_equals() -> None:
    """Votes, then different people, then the decision-maker's votes, as the bot ranks them."""
    cast = np.array([[[2, 0, 0], [0, 1, 1]], [[1, 1, 0], [1, 1, 0]]])
    assert votes.firsts(cast, np.zeros(3, np.int64), 1).tolist() == [[1, 0, 0], [0.5, 0.5, 0]]
    assert votes.firsts(cast, np.array([0, 1, 0]), 2).tolist() == [[0, 1, 0], [0, 1, 0]]


def test_no_power_without_an_effect() -> None:
    """The share that is seen is that of the plan's effect: it falls to the false alarms when there is none."""
    plan = trials.SIZED[0]
    rng = np.random.default_rng(1)
    nothing = trials.Nature((0.0,) * 6)
    measure = trials.measure_of(plan, (), 6)
    assert measure is not None
    seen = [trials.evidence.gather(measure, trials.DRAWN[plan.kind](rng, plan, nothing)[1], 0.95) for _ in range(300)]
    assert np.mean([one is not None and one.z is not None and one.z > 1.96 for one in seen]) < 0.07


def test_odds_are_laid_beside_what_came_of_the_same_plans() -> None:
    """Every kind in turn, each trial with what was told of its criterion; what is not promised stands apart."""
    found = list(promises.statements(18, 3))
    assert {one.world for one in found if not one.hard} == {kind.value for kind in trials.DRAWN}
    assert all(0 <= one.said <= 1 and one.true in (0.0, 1.0) for one in found)
    assert all((NOT_SAID not in one.claim) is (one.world not in (promises.TAIL, promises.WEARS_OFF)) for one in found)


def test_the_claims_first_found_untrue_stand_before_and_now(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each in its own worlds: the method before is bold there by far more than that of now."""
    two = ("the same, forces all alike", "the same, a ballot of six plans by five voters")
    monkeypatch.setattr(found, "CLAIMS", {name: found.CLAIMS[name] for name in two})
    rows = [line for line in found.table(600, 3).splitlines() if "before" in line[52:] or "now" in line[52:]]
    figures = [[float(word) for word in row[60:72].split("/")] for row in rows]
    assert [row[:52].strip() for row in rows[::2]] == list(two)
    bold = [said - true for said, true in figures]
    assert bold[0] - bold[1] > 5 < bold[2] - bold[3]
