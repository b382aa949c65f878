"""Trials that act on the same people at the same time: by who is counted and when, not by how it is worded."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from coldframe.domain.names import PlanId
from coldframe.domain.state import Alongside, Criterion, Population, Round

_WORD = re.compile(r"\w+")


def overlaps(round_: Round) -> bool:
    """Trials on the same people at the same time, chosen now or under way already, cannot be told apart, whatever they
    measure."""
    return any(one.meets(other, _told_same(round_)) for one, other in _pairs(round_))


def meant(round_: Round) -> tuple[str, str] | None:
    """Where nothing but what they mean makes two wordings the same people: those two."""
    same = _told_same(round_)
    if any(one.meets(other, frozenset()) for one, other in _pairs(round_)):
        return None
    return next(((one.counted, other.counted) for one, other in _pairs(round_) if one.meets(other, same)), None)


def wordings(round_: Round) -> list[str]:
    """Of who is counted by what is chosen and by what is under way, each once, where words decide."""
    chosen, under_way = _spans(round_)
    told = {_plain(span.counted): span.counted for span in (*chosen, *under_way) if span.counted}
    return list(told.values()) if chosen else []


Same = frozenset[frozenset[str]]
"""Pairs of plain wordings."""


def _told_same(round_: Round) -> Same:
    return frozenset(frozenset(map(_plain, pair)) for pair in round_.same_people)


def _pairs(round_: Round) -> Iterator[tuple[Span, Span]]:
    """Each that is chosen beside each other one, and beside what is under way."""
    chosen, under_way = _spans(round_)
    yield from ((one, other) for n, one in enumerate(chosen) for other in (*chosen[:n], *under_way))


def _spans(round_: Round) -> tuple[list[Span], list[Span]]:
    """What is chosen, and what is under way."""
    under_way = [Span(one.counted, one.population, None, one.until) for one in round_.alongside]
    under_way += [Span(counted) for _, counted in round_.beside]
    return [_span(round_, plan) for plan in round_.told_choices()], under_way


@dataclass(frozen=True, slots=True)
class Span:
    """On whom a trial acts, and from when until when; None: no end is known on that side."""

    counted: str
    population: Population = ""
    since: date | None = None
    until: date | None = None

    def meets(self, other: Span, same: Same) -> bool:
        """`same`: wordings that mean the same people."""
        return self._same_people(other, same) and self._same_time(other)

    def _same_people(self, other: Span, same: Same) -> bool:
        """By what both say of who can be in it at all, else by the words on who is counted, or what they mean."""
        both = {self.population, other.population}
        if "" not in both:
            return len(both) == 1 or "everybody" in both
        mine, others = _plain(self.counted), _plain(other.counted)
        return mine == others or frozenset((mine, others)) in same

    def _same_time(self, other: Span) -> bool:
        mine_first = self.until is None or other.since is None or other.since < self.until
        return mine_first and (other.until is None or self.since is None or self.since < other.until)


def _span(round_: Round, plan: PlanId) -> Span:
    """From the day that it should be live until its last week is over; the first may begin six days later."""
    chosen = round_.plans[plan]
    return _from(chosen.criterion, chosen.weeks, round_.choices[plan].live)


def _from(criterion: Criterion, weeks: int, live: date | None) -> Span:
    until = None if live is None else live + timedelta(weeks=weeks, days=6)
    return Span(criterion.counted, criterion.population, live, until)


def met_by(criterion: Criterion, weeks: int, live: date, under_way: Iterable[Alongside]) -> str:
    """The title of a trial under way on whose people a plan would act at the same time; empty where there is none."""
    plan = _from(criterion, weeks, live)
    beside = ((t.title, Span(t.counted, t.population, None, t.until)) for t in under_way)
    return next((title for title, span in beside if plan.meets(span, frozenset())), "")


def _plain(words: str) -> str:
    """Without regard to case, blanks and punctuation."""
    return " ".join(_WORD.findall(words.casefold()))
