"""Print what each published line gives away about single ballots beyond the places alone, before and after the rule
that says what may be told (`domain.round.disclosure`), and check the bound that README states.

First line by line, with the bot's own functions, over all ballots of small teams. Then everything that is told now, for
teams of 3 to 8 with 2 to 6 options: figures exactly, by sums; places by sampling, with every ballot of the one who is
guessed at. Of teams of one mind the colleague even knows what all like.

Run from the repository: python -m tests.bench.disclosure
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from coldframe.analysis.agreement import kendall_w
from coldframe.analysis.disclosure import Exposure, Prior, Team, even, exposure, of_one_mind, teams
from coldframe.analysis.tally import weight_range
from coldframe.domain.round.disclosure import Figures, voters_needed
from coldframe.domain.round.standings import standing
from coldframe.engine.worker.explaining import sureness
from coldframe.speech.round.sure_words import sure_words

WEIGHT, TRIALS, QUOTA = 2, 2, 2
PRIORS: Mapping[str, Callable[[int, int], Prior]] = {"even": even, "of one mind": of_one_mind}
MAX_GAIN, MAX_BALLOT, MAX_VOTE = 0.15, 0.01, 0.05
"""The bound: how much the best guess at a ballot may gain over the places; how often a ballot, or one vote, may become
certain that the places leave open."""
Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]


def main() -> int:
    line_by_line()
    return everything()


# --- line by line -----------------------------------------------------------------------------------------------------

Line = Callable[[Team], Hashable]


def _votes(team: Team) -> dict[str, tuple[str, ...]]:
    cast = {f"voter {n}": ballot for n, ballot in enumerate(team.group)} | ({"chief": team.chief} if team.chief else {})
    return {who: tuple(str(o) for o, n in enumerate(b) for _ in range(n)) for who, b in cast.items()}


def _options(team: Team) -> tuple[str, ...]:
    return tuple(str(o) for o in range(len(team.own)))


def places(team: Team) -> Hashable:
    """By the bot's own count."""
    chief: Any = "chief" if team.chief else None
    ranked = standing(_votes(team), _options(team), chief, WEIGHT)  # type: ignore[arg-type]  # plain names do
    return tuple(sorted((s.option, s.place) for s in ranked))


def figures(team: Team) -> Hashable:
    return tuple(map(sum, zip(*team.group, strict=True))), team.chief


def goes_on(team: Team) -> Hashable:
    """A force without a dot does not, whatever its place."""
    return tuple(any(column) for column in zip(*team.group, team.chief or team.own, strict=True))


def people(team: Team) -> Hashable:
    everybody = (*team.group, team.chief) if team.chief else team.group
    return tuple(sum(n > 0 for n in column) for column in zip(*everybody, strict=True))


@cache
def _agreement(group: tuple[tuple[int, ...], ...], chief: tuple[int, ...] | None) -> float:
    """How much the voters agree, as it was told: reckoned from the ballots themselves."""
    votes = _votes(Team(group[0], group[1:], chief))
    options = [str(o) for o in range(len(group[0]))]
    scores = [[-sum(o == option for o in cast) for option in options] for cast in votes.values()]
    return round(kendall_w(scores), 2)


def agreement(team: Team) -> Hashable:
    return _agreement(team.group, team.chief)


def how_sure(team: Team) -> Hashable:
    """As it is said: how often the first would stay first, how much the voters agree. From what is told alone."""
    return _sure_words(tuple(map(sum, zip(*team.group, strict=True))), team.chief, len(team.group))


@cache
def _sure_words(group: tuple[int, ...], chief: tuple[int, ...] | None, voters: int) -> str:
    options = [str(o) for o in range(len(group))]
    theirs = None if chief is None else dict(zip(options, chief, strict=True))
    told = Figures(dict(zip(options, group, strict=True)), theirs, voters, QUOTA)
    return sure_words(sureness(told, WEIGHT, TRIALS), figure=chief is not None)


def weights(team: Team) -> Hashable:
    if not team.chief:
        return None
    group = dict(zip(_options(team), map(sum, zip(*team.group, strict=True)), strict=True))
    return weight_range(group, dict(zip(_options(team), team.chief, strict=True)), WEIGHT, TRIALS)


def unused(team: Team) -> Hashable:
    return sum(map(sum, team.group)) + sum(team.chief or ())


def own_plans(team: Team) -> Hashable:
    """Voter n wrote plan n, which is the worst case: colleagues know by its style whose it is."""
    return team.own[0] + sum(ballot[n % len(ballot)] for n, ballot in enumerate(team.others, 1))


def all_before(team: Team) -> Hashable:
    told = figures(team) if team.chief is None or len(team.group) >= 3 else None
    with_people = (told, people(team)) if told else None
    return with_people, agreement(team), weights(team), unused(team), own_plans(team)


def all_now(team: Team) -> Hashable:
    """How sure, the range of weights and what is unused follow from the figures."""
    return figures(team) if len(team.group) >= voters_needed(len(team.own)) else None


def draw(team: Team) -> Hashable:
    """Which of those tied at the cut goes on follows from a seed, which follows from no ballot."""
    return None


LINES: Mapping[str, tuple[Line, bool]] = {
    "places alone": (lambda team: None, True),
    "what goes on": (goes_on, True),
    "votes by option": (figures, True),
    "different people": (people, False),
    "agreement, from ballots": (agreement, False),
    "how sure, as it is said": (how_sure, True),
    "range of weights": (weights, True),
    "unused votes": (unused, True),
    "votes for own plans": (own_plans, False),
    "draw and its seed": (draw, True),
    "all lines before": (all_before, False),
    "all lines now": (all_now, True),
}
"""Each line with whether it is still told, where figures are."""
ALWAYS = ("places alone", "what goes on", "draw and its seed")
EXACT = (("ballot", 3), ("ballot", 4), ("ballot", 5), ("ballot", 6), ("dots", 3), ("dots", 4), ("dots", 5), ("dots", 6),
         ("dots", 7), ("dots", 8))  # fmt: skip


def line_by_line() -> None:
    """All teams with three options and two votes each, every line together with the places."""
    print("Three options, two votes each; all ballots alike likely. Every line is read with the places.")
    print("guess: best guess at one other's ballot right; ballot, vote: it, or one vote of it, certain (per cent)\n")
    for kind, size in EXACT:
        chief = kind == "ballot"
        others = size - 1 - chief
        print(f"{kind}, {size} people{', one of them the decision-maker' if chief else ''}")
        for about_chief in (False, True) if chief else (False,):
            whom = "the decision-maker" if about_chief else "another voter"
            for name, (line, still) in LINES.items():
                told = still and (size - chief >= voters_needed(3) or name in ALWAYS)
                mark = "" if told or name.startswith("all") else "   (not told now)"
                found = exposure(teams(even(3, QUOTA), others, chief=chief), _with_places(line), of_chief=about_chief)
                print(f"  about {whom:18} {name:24} {_said(found)}{mark}")
        print(flush=True)


def _with_places(line: Line) -> Line:
    return lambda team: (places(team), line(team))


def _said(found: Exposure) -> str:
    return f"guess {100 * found.guess:5.1f}  ballot {100 * found.ballot:5.1f}  vote {100 * found.vote:5.1f}"


# --- everything that is told now --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Case:
    """A team: how many voters besides the colleague and the decision-maker, of what kind of count."""

    kind: str
    prior: str
    quota: int
    options: int
    others: int

    def ballots(self) -> tuple[Ints, Floats]:
        found = PRIORS[self.prior](self.options, self.quota)
        return np.array(list(found)), np.array(list(found.values()))


def cases(size: int, options: int) -> Iterator[Case]:
    for kind in ("dots", "ballot"):
        others = size - 1 - (kind == "ballot")
        for prior in PRIORS:
            for quota in (2, 3):
                yield Case(kind, prior, quota, options, others)


def everything() -> int:
    """The worst of dots and ballots, both priors, two and three votes; 0 if all are within the bound."""
    print("Everything told now, beyond the places, in per cent: gain of the guess / ballot certain / vote certain")
    print(f"(bound {100 * MAX_GAIN:.0f} / {100 * MAX_BALLOT:.0f} / {100 * MAX_VOTE:.0f}; - : places alone are told)\n")
    print("people    " + "".join(f"{f'{options} options':>20}" for options in range(2, 7)))
    within = True
    for size in range(3, 9):
        row = f"{size:6}    "
        for options in range(2, 7):
            found = [beyond(case) for case in cases(size, options) if case.others + 1 >= voters_needed(options)]
            worst = tuple(max(column) for column in zip(*found, strict=True)) if found else None
            row += f"{'-' if worst is None else ' / '.join(f'{100 * each:.1f}' for each in worst):>20}"
            within &= worst is None or (worst[0] <= MAX_GAIN and worst[1] <= MAX_BALLOT and worst[2] <= MAX_VOTE)
        print(row, flush=True)
    print("\nwithin the bound" if within else "\nNOT within the bound")
    return int(not within)


def beyond(case: Case) -> tuple[float, float, float]:
    """Gain of the guess, and how often a ballot or a vote of it is certain by the figures."""
    told = by_figures(case)
    return max(0.0, told.guess - by_places(case).guess), told.ballot, told.vote


@cache
def _by_figures(prior: str, quota: int, options: int, others: int) -> Exposure:
    every, chance = Case("", prior, quota, options, others).ballots()
    sums, weights = _sums(every, chance, others - 1)
    radix = 32 ** np.arange(options)
    told = (sums @ radix)[None, :] + (every @ radix)[:, None]
    guessed = np.repeat(np.arange(len(every)), len(sums))
    return _exposed(told.ravel(), guessed, (chance[:, None] * weights[None, :]).ravel(), every)


def by_figures(case: Case) -> Exposure:
    """Exactly: the decision-maker's votes and one's own are taken off, and the sum of the others' is left."""
    return _by_figures(case.prior, case.quota, case.options, case.others)


def _sums(every: Ints, chance: Floats, people_in_it: int) -> tuple[Ints, Floats]:
    """All sums of so many ballots, with their chances."""
    radix = 32 ** np.arange(every.shape[1])
    codes, weights = np.zeros(1, np.int64), np.ones(1)
    for _ in range(people_in_it):
        spread = (codes[:, None] + (every @ radix)[None, :]).ravel()
        codes, where = np.unique(spread, return_inverse=True)
        weights = np.bincount(where, (weights[:, None] * chance[None, :]).ravel())
    return (codes[:, None] // radix) % 32, weights


def by_places(case: Case, owns: int = 6) -> Exposure:
    """Sampled: the other people's ballots; gone through: those of the one who is guessed at."""
    rng = np.random.default_rng(1)
    every, chance = case.ballots()
    draws = 30_000 if case.options > 5 else 6_000
    told, guessed, weights = [], [], []
    for at, own in enumerate(rng.choice(len(every), owns, p=chance)):
        rest = rng.choice(len(every), (draws, case.others - 1), p=chance)
        chief = every[rng.choice(len(every), draws, p=chance)] * (case.kind == "ballot")
        for number, ballot in enumerate(every):
            keys = _keys(every, rest, (every[own], ballot), chief)
            place = (keys[:, None, :] > keys[:, :, None]).sum(axis=2)
            told.append(place @ (8 ** np.arange(case.options)) + at * 8**case.options)
            guessed.append(np.full(draws, number))
            weights.append(np.full(draws, chance[number] / draws / owns))
    return _exposed(np.concatenate(told), np.concatenate(guessed), np.concatenate(weights), every)


def _keys(every: Ints, rest: Ints, known: tuple[Ints, Ints], chief: Ints) -> Ints:
    """What orders options: weighted total, different people, the decision-maker's votes."""
    total = every[rest].sum(axis=1) + known[0] + known[1] + WEIGHT * chief
    different = (every[rest] > 0).sum(axis=1) + (known[0] > 0) + (known[1] > 0) + (chief > 0)
    return np.asarray((total * 64 + different) * 64 + chief)


def _exposed(told: Ints, guessed: Ints, weights: Floats, every: Ints) -> Exposure:
    """As `analysis.disclosure.exposure` sums it up, for arrays."""
    size = len(every)
    pairs, where = np.unique(told * size + guessed, return_inverse=True)
    chance = np.bincount(where, weights)
    cells, where = np.unique(pairs // size, return_inverse=True)
    total, best = np.bincount(where, chance), np.zeros(len(cells))
    np.maximum.at(best, where, chance)
    voted = every[pairs % size] > 0
    sure = [np.bincount(where, chance * voted[:, o]) >= total * (1 - 1e-9) for o in range(every.shape[1])]
    certain = best >= total * (1 - 1e-9)
    return Exposure(float(best.sum()), float(total[certain].sum()), float(total[np.any(sure, axis=0)].sum()))


if __name__ == "__main__":
    sys.exit(main())
