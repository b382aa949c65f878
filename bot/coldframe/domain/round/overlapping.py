"""Trials that act on the same people at the same time: by who is counted and when, not by how it is worded."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

from coldframe.domain.names import PlanId
from coldframe.domain.state import Population, Round

_WORD = re.compile(r"\w+")


def overlaps(round_: Round) -> bool:
    """Trials on the same people at the same time, chosen now or under way already, cannot be told apart, whatever they
    measure."""
    chosen = [_span(round_, plan) for plan in round_.told_choices()]
    under_way = [Span(one.counted, one.population, None, one.until) for one in round_.alongside]
    under_way += [Span(counted) for _, counted in round_.beside]
    return any(one.meets(other) for n, one in enumerate(chosen) for other in (*chosen[:n], *under_way))


@dataclass(frozen=True, slots=True)
class Span:
    """On whom a trial acts, and from when until when; None: no end is known on that side."""

    counted: str
    population: Population = ""
    since: date | None = None
    until: date | None = None

    def meets(self, other: Span) -> bool:
        return self._same_people(other) and self._same_time(other)

    def _same_people(self, other: Span) -> bool:
        """By what both say of who can be in it at all, else by the words on who is counted."""
        both = {self.population, other.population}
        if "" not in both:
            return len(both) == 1 or "everybody" in both
        return _plain(self.counted) == _plain(other.counted)

    def _same_time(self, other: Span) -> bool:
        mine_first = self.until is None or other.since is None or other.since < self.until
        return mine_first and (other.until is None or self.since is None or self.since < other.until)


def _span(round_: Round, plan: PlanId) -> Span:
    """From the day that it should be live until its last week is over; the first may begin six days later."""
    criterion, live = round_.plans[plan].criterion, round_.choices[plan].live
    until = None if live is None else live + timedelta(weeks=round_.plans[plan].weeks, days=6)
    return Span(criterion.counted, criterion.population, live, until)


def _plain(words: str) -> str:
    """Without regard to case, blanks and punctuation."""
    return " ".join(_WORD.findall(words.casefold()))
