"""Worlds of voters: how often the first place stays the first, said from one team's count and true of other such teams.

Ordinary: each option has a value, each voter a taste of their own, both normal (a random-utility model: Thurstone 1927,
"A law of comparative judgment"; McFadden 1974), the best few get a vote each, and a favourite that leads by 0.7 gets a
second one. The spread of the values goes from none (all options alike) to twice that of the tastes. Hard, as no method
assumes them: two camps with values of their own; voters who put all they have on one option (plumping, known from
cumulative voting); voters of whom a third choose at random; values with heavy tails (Student's t with 2 degrees of
freedom), so that one option stands far off; teams that talk, so that each has a mood that moves all its voters. Other
people "like you", as it is said, share that mood; what another team in a mood of its own would do is not said,
and stands apart in the table, so that nobody takes the one for the other.

The numbers of options and votes, of people and of unused votes are those of small teams; none of them is measured. The
truth of a statement is the share of 400 other teams of the same size, out of the same world and with the votes of the
decision-maker as they are, in which the same option is first; equals share the place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coldframe.domain.round.disclosure import Figures, voters_needed
from coldframe.engine.worker.explaining import first_stays
from coldframe.speech.round import sure_words
from tests.calibration import earlier
from tests.calibration.claims import AT_LEAST, NOT_SAID, Said

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
OTHER_MOODS = "other moods"
DOTS, BALLOT = "first stays first, dots", "first stays first, ballot"
SPREADS = (0.0, 0.5, 1.0, 1.5, 2.0)
TEAMS = 400
LEADS_BY = 0.7
UNUSED = 0.03  # of each vote but the first
Likings = Callable[[np.random.Generator, Floats, int, int], Floats]
"""How much each voter of so many teams of so many people likes each option: teams x people x options."""


def tastes(rng: np.random.Generator, values: Floats, teams: int, people: int) -> Floats:
    return values + rng.normal(size=(teams, people, len(values)))


def camps(rng: np.random.Generator, values: Floats, teams: int, people: int) -> Floats:
    """Four in ten belong to a camp to which the options are worth what their mirror images are to the others."""
    other = rng.random((teams, people, 1)) < 0.4
    return np.where(other, values[::-1], values) + rng.normal(size=(teams, people, len(values)))


def at_random(rng: np.random.Generator, values: Floats, teams: int, people: int) -> Floats:
    heeds = rng.random((teams, people, 1)) > 1 / 3
    return values * heeds + rng.normal(size=(teams, people, len(values)))


def moody(rng: np.random.Generator, values: Floats, teams: int, people: int) -> Floats:
    mood = 0.7 * rng.normal(size=(teams, 1, len(values)))
    return tastes(rng, values, teams, people) + mood


@dataclass(frozen=True, slots=True)
class Family:
    name: str
    likings: Likings
    hard: bool
    heavy: bool = False
    plumping: float = 0.0  # of voters, who give all they have to one option
    mood: float = 0.0

    def values(self, rng: np.random.Generator, spread: float, options: int) -> Floats:
        return spread * (rng.standard_t(2, options) if self.heavy else rng.normal(size=options))


ORDINARY = Family("tastes", tastes, hard=False)
HARD = (
    Family("two camps", camps, hard=True),
    Family("all on one", tastes, hard=True, plumping=1.0),
    Family("half of them all on one", tastes, hard=True, plumping=0.5),
    Family("a third at random", at_random, hard=True),
    Family("heavy tails", tastes, hard=True, heavy=True),
    Family("teams with a mood", tastes, hard=True, mood=0.7),
    Family(OTHER_MOODS, moody, hard=True, mood=0.7),
)


def statements(worlds: int, seed: int) -> Iterator[Said]:
    """What is said of the dots and of the ballot, a third of it in hard worlds."""
    rng = np.random.default_rng(seed)
    for number in range(worlds):
        family = HARD[number // 3 % len(HARD)] if number % 3 == 2 else ORDINARY
        spread = SPREADS[int(rng.integers(len(SPREADS)))]
        world = family.name if family.hard else f"{family.name}, spread {spread:g}"
        for make, told in ((some_dots, _told_of_dots), (_ballot, _told_of_a_ballot)):
            found = make(rng, family, spread)
            if found is not None:
                for claim, said, true, before in told(family, found):
                    yield Said(claim, world, family.hard, said, true, before)


@dataclass(frozen=True, slots=True)
class Found:
    """How often the first stays first: as is reckoned, in truth, and by the method before."""

    stays: float
    true: float
    before: float | None


Told = tuple[str, float, float, bool]
"""The claim, what is said, what is true, and whether it was said before."""


def _told_of_dots(family: Family, found: Found) -> Iterator[Told]:
    """In words; the figures behind them stand beside it."""
    if family.name != OTHER_MOODS:
        words, least, stays = sure_words.in_words(found.stays)
        true = found.true if stays else 1 - found.true
        yield f"{DOTS}: “{words}”, {AT_LEAST}", least, true, False
    yield from _figures(family, found, f"{DOTS}, behind the words: {NOT_SAID} as a figure", DOTS)


def _told_of_a_ballot(family: Family, found: Found) -> Iterator[Told]:
    said, low = found.stays, f"{BALLOT}, in words: {NOT_SAID} as a figure"
    claim = low if said < sure_words.MOSTLY else BALLOT
    rounded = said if said < sure_words.MOSTLY else sure_words.of_100(said) / 100
    yield from _figures(family, Found(rounded, found.true, found.before), claim, BALLOT)
    if said < sure_words.MOSTLY and family.name != OTHER_MOODS:
        yield f"{BALLOT}: “{sure_words.CLOSE}”, {AT_LEAST}", sure_words.ANOTHER, 1 - found.true, False


def _figures(family: Family, found: Found, now: str, before: str) -> Iterator[Told]:
    if family.name == OTHER_MOODS:
        now = before = f"{before} by teams in other moods: {NOT_SAID}"
    yield now, found.stays, found.true, False
    if found.before is not None:
        yield before, found.before, found.true, True


def some_dots(rng: np.random.Generator, family: Family, spread: float) -> Found | None:
    options, people = int(rng.integers(4, 16)), int(rng.integers(3, 13))
    return one(rng, family, spread, options, people, quota=3, weight=None)


def _ballot(rng: np.random.Generator, family: Family, spread: float) -> Found | None:
    options, people, weight = int(rng.integers(3, 9)), int(rng.integers(3, 12)), int(rng.integers(1, 4))
    return one(rng, family, spread, options, people, quota=2, weight=weight)


def one(
    rng: np.random.Generator, family: Family, spread: float, options: int, people: int, quota: int, weight: int | None
) -> Found | None:
    """None where nothing may or can be said."""
    if people < voters_needed(options):
        return None
    values = family.values(rng, spread, options)
    chief = np.zeros(options, np.int64)
    if weight is not None:
        chief = ballots(rng, tastes(rng, values, 1, 1), quota, plumping=family.plumping)[0, 0]
    if family.mood and family.name != OTHER_MOODS:  # one mood, which the other people share
        values = values + family.mood * rng.normal(size=options)
    cast = ballots(rng, family.likings(rng, values, TEAMS + 1, people), quota, plumping=family.plumping)
    named = [f"option {n:02}" for n in range(options)]
    told = Figures(
        dict(zip(named, map(int, cast[0].sum(axis=0)), strict=True)),
        None if weight is None else dict(zip(named, map(int, chief), strict=True)),
        people,
        quota,
    )
    stays = first_stays(told, weight or 1)
    if stays is None:
        return None
    shares = firsts(cast, chief, weight or 1)
    here = shares[0] > 0
    true = float(shares[1:][:, here].mean(axis=0).max())
    return Found(stays, true, earlier.stays_first(cast[0], chief, weight or 1, np.random.default_rng(1)))


def ballots(rng: np.random.Generator, liking: Floats, quota: int, *, plumping: float) -> Ints:
    """Votes by option: one for each of the best, two for a favourite that leads; some votes stay unused."""
    options = liking.shape[-1]
    order = np.argsort(-liking, axis=-1)
    best = np.take_along_axis(liking, order, axis=-1)
    votes = np.zeros(liking.shape, np.int64)
    all_on_one = rng.random(liking.shape[:-1]) < plumping
    leads = best[..., 0] - best[..., 1] > LEADS_BY
    for vote in range(quota):
        again = all_on_one | (leads & (vote == quota - 1))
        place = np.where(again, 0, min(vote, options - 1))
        used = (rng.random(place.shape) > UNUSED) | (vote == 0)
        chosen = np.take_along_axis(order, place[..., None], axis=-1)
        np.put_along_axis(votes, chosen, np.take_along_axis(votes, chosen, axis=-1) + used[..., None], axis=-1)
    return votes


def firsts(cast: Ints, chief: Ints, weight: float) -> Floats:
    """Each team's first place, shared by equals: weighted total, different people, the decision-maker's votes."""
    total = cast.sum(axis=1) + weight * chief
    people = (cast > 0).sum(axis=1) + (chief > 0)
    keys = (total * 64 + people) * 64 + chief
    first = keys == keys.max(axis=1, keepdims=True)
    return np.asarray(first / first.sum(axis=1, keepdims=True))
