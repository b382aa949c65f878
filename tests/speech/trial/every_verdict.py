"""Every verdict of every design, and every caution, with the whole message: `every_verdict.txt` is to be read.

`python -m tests.speech.trial.every_verdict` writes it anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

from coldframe.domain.trial.state import Entry, Figures, Settled, Trial, WeekWord
from coldframe.engine.worker.judging import judge
from coldframe.message.nodes import Message
from coldframe.speech.trial import verdict_words
from coldframe.speech.trial.verdict_words import Judged
from tests.engine.seeing_through import words
from tests.speech.trials import START, a_trial, with_split, with_values

TABLE = Path(__file__).with_suffix(".txt")
BASELINE = tuple((x, 1000.0) for x in (100, 104, 97, 101, 99, 103, 98, 102))
USUAL = tuple((float(x), 1.0) for x in (5, 6, 4, 5, 7, 3, 5, 5))


@dataclass(frozen=True)
class Case:
    """A trial as it stands after so many weeks; `special` days lie within it."""

    name: str
    trial: Trial
    after: int
    special: tuple[str, ...] = ()

    def judged(self) -> Judged:
        days = tuple((name, START + timedelta(days=n)) for n, name in enumerate(self.special))
        return judge(self.trial, START + timedelta(weeks=self.after), days)

    def message(self) -> str:
        """As it is read, line by line."""
        judged = self.judged()
        below = (*verdict_words.blocks(self.trial, judged), *verdict_words.how_final(self.trial, judged))
        below += tuple(verdict_words.what_it_does_not_show(judged))
        return f"{verdict_words.sentence(self.trial, judged)}\n{words(Message((), below))}"


# --- designs ---

Rows = Sequence[tuple[int, int]]


def split(control: Rows, trial: Rows, after: int = 0, name: str = "", **changes: Any) -> Case:
    pairs = list(zip(control, trial, strict=True))
    return Case(name, with_split(a_trial(weekly=None, **changes), pairs), after or len(pairs))


def less(control: Rows, trial: Rows, **changes: Any) -> Case:
    return split(control, trial, upwards=False, baseline=0.06, target=0.04, measure="share who cancel", **changes)


def means(control: Sequence[float], trial: Sequence[float], people: int = 100, **changes: Any) -> Case:
    about = {"kind": "mean", "measure": "lessons a head", "baseline": 20.0, "target": 24.0, "weekly": None}
    entries = [
        Entry(n, Figures(t, people, 10.0), Figures(c, people, 10.0))
        for n, (c, t) in enumerate(zip(control, trial, strict=True), 1)
    ]
    after = changes.pop("after", 0)
    return Case("", _weekly(a_trial(**about, **changes), entries), after or len(entries))


def rates(control: Sequence[int], trial: Sequence[int], units: int = 2000, **changes: Any) -> Case:
    about = {"kind": "rate", "measure": "calls an order", "baseline": 0.05, "target": 0.065, "weekly": None}
    entries = [
        Entry(n, Figures(t, units), Figures(c, units)) for n, (c, t) in enumerate(zip(control, trial, strict=True), 1)
    ]
    after = changes.pop("after", 0)
    return Case("", _weekly(a_trial(**about | changes), entries), after or len(entries))


def share(values: Sequence[int], people: int = 300, **changes: Any) -> Case:
    about = {"kind": "share", "measure": "share that answers", "baseline": 0.2, "target": 0.26, "weekly": None}
    after = changes.pop("after", 0)
    return Case("", with_values(a_trial(**about | changes), [Figures(x, people) for x in values]), after or len(values))


def harmed(case: Case, week: int, number: float) -> Case:
    """Week by week as the harm measure usually is, but for this one."""
    kept = {w: (replace(e[-1], harm=number if w == week else 2.0),) for w, e in case.trial.weeks.items()}
    limit = replace(case.trial.criterion, harm_usual=2.0, harm_limit=4.0)
    return having(case, weeks=kept, criterion=limit)


def settled(case: Case, week: int) -> Case:
    """Somebody looked into it, and let the trial go on."""
    by, at = case.trial.facilitator, datetime.combine(START, time(12), UTC)
    return having(case, settled=(Settled("harm", week, 9.0, stops=False, reason="One customer", by=by, at=at),))


def before_after(values: Sequence[int], **changes: Any) -> Case:
    about = {"kind": "before-after", "measure": "share of teams that come back", "baseline": None, "target": 0.12}
    about |= {"baseline_weeks": BASELINE, "weekly": None}
    after = changes.pop("after", 0)
    return Case("", with_values(a_trial(**about | changes), [Figures(x, 1000) for x in values]), after or len(values))


def counted(values: Sequence[int], **changes: Any) -> Case:
    about = {"kind": "count", "measure": "teams won back", "baseline": 20.0, "target": 30.0}
    about |= {"baseline_weeks": USUAL, "weekly": None}
    after = changes.pop("after", 0)
    return Case("", with_values(a_trial(**about | changes), [Figures(x) for x in values]), after or len(values))


def _weekly(trial: Trial, entries: Sequence[Entry]) -> Trial:
    return replace(trial, weeks={e.week: (e,) for e in entries}, looks=tuple(range(1, len(entries) + 1)))


def lost(case: Case, *weeks: int, state: WeekWord = "broken") -> Case:
    kept = {w: (Entry(w, None, state=state),) if w in weeks else e for w, e in case.trial.weeks.items()}
    return replace(case, trial=replace(case.trial, weeks=kept))


def unlogged(case: Case, week: int) -> Case:
    """Nobody said anything of that week, and the review is here."""
    kept = {w: e for w, e in case.trial.weeks.items() if w != week}
    return having(case, weeks=kept, looks=tuple(range(1, len(kept) + 1)))


def having(case: Case, **changes: Any) -> Case:
    return replace(case, trial=replace(case.trial, **changes))


# --- the table ---

_P = 1000
_SPLITS: dict[str, Callable[[], Case]] = {
    "reached": lambda: split([(40, _P)] * 4, [(61, _P)] * 4),
    "reached before the end": lambda: split([(400, 2000)] * 2, [(540, 2000)] * 2, baseline=0.2, target=0.26),
    "better, target open": lambda: split([(40, _P)] * 4, [(58, _P)] * 4),
    "better before the end": lambda: split([(400, 2000)] * 2, [(510, 2000)] * 2, baseline=0.2, target=0.26),
    "better, short of the target": lambda: split([(400, 10 * _P)] * 4, [(450, 10 * _P)] * 4),
    "not reached": lambda: split([(40, _P)] * 4, [(41, _P), (39, _P), (40, _P), (42, _P)]),
    "not reached before the end": lambda: split([(400, 10 * _P)] * 2, [(395, 10 * _P)] * 2),
    "worse": lambda: split([(60, _P)] * 4, [(30, _P)] * 4),
    "worse before the end": lambda: split([(600, 10 * _P)] * 2, [(400, 10 * _P)] * 2),
    "too early, one week": lambda: split([(40, _P)], [(57, _P)]),
    "too early, one strong week": lambda: split(
        [(400, 2000)], [(560, 2000)], baseline=0.2, target=0.26, counting_checked="Ann"
    ),
    "too early, fits both": lambda: split([(40, _P)] * 2, [(47, _P)] * 2),
    "too early, one week carries": lambda: split(
        [(400, 2000)] * 2, [(640, 2000), (415, 2000)], baseline=0.2, target=0.26, counting_checked="Ann"
    ),
    "too early, worse so far": lambda: split([(60, _P)], [(36, _P)]),
    "too early, check the counting": lambda: split([(400, 2000)] * 2, [(700, 2000)] * 2, baseline=0.2, target=0.26),
    "not begun": lambda: replace(split([], []), after=-1),
    "no numbers yet": lambda: replace(split([], []), after=1),
    "no numbers at the end": lambda: replace(split([], []), after=4),
    "nobody in a group": lambda: split([(0, 0)] * 4, [(5, 100)] * 4),
    "cannot tell, both": lambda: split([(4, 100)] * 4, [(6, 100)] * 4),
    "cannot tell, wrong sizes": lambda: split([(40, _P)] * 4, [(75, 1150)] * 4),
    "cannot tell, too good": lambda: split([(40, _P)] * 4, [(110, _P)] * 4),
    "reached, too good and checked": lambda: split([(40, _P)] * 4, [(110, _P)] * 4, counting_checked="Ann, by hand"),
    "cannot tell, one huge week": lambda: split([(40, _P)] * 4, [(44, _P), (42, _P), (126, _P), (40, _P)]),
    "cannot tell, nothing happened": lambda: split([(0, 50)] * 4, [(0, 50)] * 4),
    "a gap while it runs": lambda: having(lost(split([(40, _P)] * 2, [(47, _P)] * 2), 2), looks=(1,)),
    "a week not logged, at the review": lambda: unlogged(split([(40, _P)] * 4, [(47, _P)] * 4), 2),
    "reached after a gap": lambda: lost(split([(40, _P)] * 5, [(61, _P)] * 5), 2),
    "stopped early": lambda: having(split([(40, _P)] * 2, [(45, _P), (52, _P)]), stopped="sign-ups fell"),
    "stopped when one week carries it": lambda: having(
        split([(400, 2000)] * 2, [(640, 2000), (415, 2000)], baseline=0.2, target=0.26, counting_checked="Ann"),
        stopped="enough",
    ),
    "looked at too often": lambda: having(
        split([(400, 2000)] * 2, [(510, 2000)] * 2, baseline=0.2, target=0.26), looks=(1, 3, 4, 5)
    ),
    "a ninth of the planned people": lambda: having(
        split([(20, 450), (2, 50)], [(24, 450), (3, 50)]), criterion=replace(a_trial().criterion, weekly=900.0)
    ),
    "none of 240": lambda: split([(96, 240)] * 2, [(96, 240), (0, 240)], baseline=0.4, target=0.5),
    "none of 240 without the change": lambda: split([(96, 240), (0, 240)], [(96, 240)] * 2, baseline=0.4, target=0.5),
    "control far from the baseline": lambda: split([(100, 500)], [(112, 500)], baseline=0.4, target=0.5),
    "a first week of novelty": lambda: split([(40, _P)] * 4, [(100, _P)] + [(44, _P)] * 3, counting_checked="Ann"),
    "weeks after the end": lambda: split([(40, _P)] * 5, [(44, _P)] * 5),
    "holidays": lambda: replace(
        split([(40, _P)] * 2, [(47, _P)] * 2), special=("Long feast", "Long feast", "New moon")
    ),
    "harm past its limit, and reached": lambda: harmed(split([(40, _P)] * 4, [(61, _P)] * 4), 3, 9.0),
    "harm of 999,999, and too early": lambda: harmed(split([(40, _P)] * 2, [(47, _P)] * 2), 2, 999_999.0),
    "harm past its limit, and decided": lambda: settled(harmed(split([(40, _P)] * 4, [(61, _P)] * 4), 3, 9.0), 3),
    "harm at its limit": lambda: harmed(split([(40, _P)] * 2, [(47, _P)] * 2), 2, 4.0),
    "the stop line is reached": lambda: split([(40, _P)] * 2, [(29, _P)] * 2, stop_at=0.03),
    "seven to three as planned: reached": lambda: split([(70, 1750)] * 4, [(45, 750)] * 4, planned_share=0.3),
    "seven to three as planned: worse": lambda: split([(70, 1750)] * 4, [(14, 750)] * 4, planned_share=0.3),
    "half and half, seven to three planned": lambda: split([(40, _P)] * 4, [(61, _P)] * 4, planned_share=0.3),
    "less is better: reached": lambda: less([(60, _P)] * 4, [(38, _P)] * 4),
    "less is better: better": lambda: less([(60, _P)] * 4, [(43, _P)] * 4),
    "less is better: worse": lambda: less([(40, _P)] * 4, [(62, _P)] * 4),
    "less is better: not reached": lambda: less([(60, _P)] * 4, [(61, _P)] * 4),
}
_MEANS: dict[str, Callable[[], Case]] = {
    "reached": lambda: means([20.0] * 4, [24.5] * 4),
    "better, target open": lambda: means([20.0] * 4, [23.5] * 4),
    "better, short of the target": lambda: means([20.0] * 4, [21.5] * 4, people=1000),
    "not reached": lambda: means([20.0] * 4, [20.2] * 4, people=500),
    "worse": lambda: means([20.0] * 4, [17.5] * 4),
    "too early, fits both": lambda: means([20.0] * 2, [21.5] * 2, people=50),
    "too early, one week": lambda: means([20.0], [23.5], people=50),
    "cannot tell, both": lambda: means([20.0] * 4, [22.5] * 4, people=20),
    "cannot tell, too good": lambda: means([20.0] * 4, [34.0] * 4),
    "control far from the baseline": lambda: means([12.0], [12.5]),
    "nothing varies": lambda: having(
        means([20.0] * 4, [20.0] * 4),
        weeks={n: (Entry(n, Figures(20.0, 50, 0.0), Figures(20.0, 50, 0.0)),) for n in range(1, 5)},
    ),
}
_BEFORE_AFTER: dict[str, Callable[[], Case]] = {
    "reached": lambda: before_after([121, 124, 122, 126]),
    "better, target open": lambda: before_after([118, 121, 115, 123]),
    "better, short of the target": lambda: before_after([108, 109, 107, 109]),
    "not reached": lambda: before_after([101, 100, 103, 99]),
    "worse": lambda: before_after([90, 92, 89, 93]),
    "too early, one week": lambda: before_after([121]),
    "too early, whatever two weeks show": lambda: before_after([118, 121]),
    "too early, short so far": lambda: before_after([108, 109, 107], after=3),
    "too early, worse so far": lambda: before_after([90, 92]),
    "cannot tell, both": lambda: before_after([90, 130, 95, 132]),
    "cannot tell, too good": lambda: before_after([180, 176, 181, 179]),
    "no earlier weeks": lambda: before_after([121, 124, 122, 126], baseline_weeks=(), baseline=0.1),
    "three earlier weeks": lambda: before_after([121, 124, 122, 126], baseline_weeks=BASELINE[:3]),
    "six earlier weeks": lambda: before_after([121, 124, 122, 126], baseline_weeks=BASELINE[:6]),
    "a week not logged, at the review": lambda: unlogged(before_after([121, 124, 122, 126]), 3),
    "stopped early": lambda: having(before_after([121, 124]), stopped="enough"),
    "none of 1,000": lambda: before_after([101, 0]),
    "the same number every week": lambda: before_after([100] * 4, baseline_weeks=((100, 1000.0),) * 8),
}
_COUNTED: dict[str, Callable[[], Case]] = {
    "reached": lambda: counted([9, 10, 9, 10], target=35.0),
    "reached before the end": lambda: counted([20, 21, 20], target=35.0),
    "reached, nothing known before": lambda: counted([9, 8, 9, 7], baseline=None, baseline_weeks=()),
    "better, below the target": lambda: counted([9, 10, 9, 10], target=45.0),
    "not reached by one": lambda: counted([7, 8, 6, 8]),
    "not reached": lambda: counted([5, 4, 6, 5], target=45.0),
    "worse": lambda: counted([1, 1, 2, 1]),
    "too early, one week": lambda: counted([40]),
    "too early, open": lambda: counted([6, 7]),
    "too early, one week carries": lambda: counted([25, 12], counting_checked="Ann"),
    "too early, within the usual": lambda: counted([12, 10, 9], target=25.0),
    "cannot tell, within the usual": lambda: counted([6, 7, 6, 7], target=24.0),
    "cannot tell, the usual level as stated": lambda: counted([6, 7, 6, 7], target=24.0, baseline_weeks=()),
    "cannot tell, one huge week": lambda: counted([5, 40, 4, 6], target=40.0),
    "nothing in a week": lambda: counted([0], baseline=48.0, target=60.0, baseline_weeks=()),
    "a week not logged, at the review": lambda: unlogged(counted([6, 7, 6, 7]), 4),
    "at most: reached": lambda: counted([1, 1, 1, 1], upwards=False, target=8.0),
    "at most: better, above it": lambda: counted([2, 3, 2, 2], upwards=False, target=8.0),
    "at most: not reached before the end": lambda: counted([5, 5], upwards=False, target=4.0),
    "at most: worse": lambda: counted([20, 22, 19, 20], upwards=False, target=8.0),
}
_RATES: dict[str, Callable[[], Case]] = {
    "reached": lambda: rates([100] * 4, [140] * 4),
    "better, target open": lambda: rates([100] * 4, [125] * 4),
    "better, short of the target": lambda: rates([1000] * 4, [1100] * 4, units=20_000),
    "not reached": lambda: rates([1000] * 4, [1005] * 4, units=20_000),
    "worse": lambda: rates([100] * 4, [60] * 4),
    "too early, fits both": lambda: rates([50] * 2, [58] * 2, units=1000),
    "too early, one week": lambda: rates([50], [60], units=1000),
    "cannot tell, both": lambda: rates([20] * 4, [24] * 4, units=400),
    "nothing happened": lambda: rates([0] * 4, [0] * 4, units=20),
    "less is better: reached": lambda: rates([100] * 4, [70] * 4, upwards=False, target=0.04),
}
_SHARES: dict[str, Callable[[], Case]] = {
    "reached": lambda: share([84] * 4),
    "better, target open": lambda: share([72] * 4),
    "not reached": lambda: share([60] * 4),
    "worse": lambda: share([42] * 4),
    "too early, fits both": lambda: share([64] * 2),
    "too early, one week": lambda: share([78]),
    "too early, worse so far": lambda: share([45]),
    "cannot tell, both": lambda: share([22] * 4, people=100),
    "less is better: reached": lambda: share([39] * 4, upwards=False, target=0.14),
}
DESIGNS = {
    "two groups": _SPLITS, "means": _MEANS, "rates": _RATES, "before and after": _BEFORE_AFTER, "count": _COUNTED,
    "fixed share": _SHARES,
}  # fmt: skip


def cases() -> Iterator[Case]:
    for design, table in DESIGNS.items():
        for name, made in table.items():
            yield replace(made(), name=f"{design}: {name}")


def text() -> str:
    return "\n".join(f"## {one.name}\n{one.message()}\n" for one in cases())


if __name__ == "__main__":
    TABLE.write_text(text(), encoding="utf-8")
