"""Verdicts that were given: one stands whatever later weeks bring. A corrected week has it judged anew."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from coldframe.domain.trial.state import Entry, Given, Reading, Trial

REACHED, BETTER, NOT_REACHED, WORSE = "reached", "better", "not reached", "worse"
VERDICTS: Final = (REACHED, BETTER, NOT_REACHED, WORSE)
SHOWN: Final = (REACHED, BETTER)
"""Those that show the effect which was hoped for."""
_EARLIER: Final[Mapping[str, str]] = {"met": REACHED, "not met": NOT_REACHED}
"""What an earlier release called them; its trials and its register still hold these."""


def as_called_now(outcome: str) -> str:
    return _EARLIER.get(outcome, outcome)


def ever_called(outcome: str) -> tuple[str, ...]:
    """All names under which this outcome may be stored."""
    now = as_called_now(outcome)
    return (now, *(old for old, new in _EARLIER.items() if new == now))


def stands(trial: Trial) -> Given | None:
    """The verdict that was given last and rests on numbers that nobody has corrected since."""
    if trial.given:
        return trial.given[-1] if _is_as_it_was(trial, trial.given[-1]) else None
    return _of_an_earlier_release(trial)


def before_the_correction(trial: Trial) -> Given | None:
    """The last verdict that rested on numbers which were corrected later."""
    return next((one for one in reversed(trial.given) if not _is_as_it_was(trial, one)), None)


def corrected(trial: Trial, given: Given) -> tuple[int, ...]:
    """The weeks that it rests on and that were corrected since."""
    return tuple(week for week, entries in given.rests_on if len(trial.weeks.get(week, ())) != entries)


def outcome(given: Given | None, now: str) -> str:
    """What holds: the verdict given, unless the weeks now say the same and more. The rest is said beside it."""
    return now if given is None or _MORE.get(given.outcome) == now else given.outcome


_MORE: Final[Mapping[str, str]] = {BETTER: REACHED, NOT_REACHED: WORSE}
"""What takes nothing back of what was said."""


def newly_given(trial: Trial, reading: Reading) -> Given | None:
    """What this reading has to write down."""
    known = stands(trial)
    if known is not None and not trial.given:
        return known
    if reading.outcome not in VERDICTS or (known is not None and known.outcome == reading.outcome):
        return None
    return _given(trial, reading.outcome, reading.sentence)


def _given(trial: Trial, word: str, sentence: str) -> Given:
    counted = sum(_counts(entries[-1]) for entries in trial.weeks.values())
    rests_on = tuple((week, len(entries)) for week, entries in sorted(trial.weeks.items()))
    return Given(word, sentence, counted, rests_on)


def _counts(entry: Entry) -> bool:
    return entry.state == "whole"


def _is_as_it_was(trial: Trial, given: Given) -> bool:
    return not corrected(trial, given)


def _of_an_earlier_release(trial: Trial) -> Given | None:
    """It wrote down its last reading alone. Weeks logged since were not read yet, and none was corrected."""
    reading = trial.reading
    if reading is None or reading.outcome not in _EARLIER:
        return None
    return _given(trial, as_called_now(reading.outcome), reading.sentence)
