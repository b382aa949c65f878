"""Print how fast paired comparison is, and how many questions adaptive asking saves.

Run from the repository: python -m tests.bench.pairwise [--rounds N] [--seed N]

Judges answer by a Bradley-Terry law around the true scores; each judge's own view differs a little from them. "All
pairs of everyone" asks each judge each pair once. Adaptive asking takes turns among the judges, fits after each
answer and asks the pair that tells most, never one pair twice of one judge.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Callable, Iterator

import numpy as np

from coldframe.analysis.pairwise import fit, next_pair

PRIOR = 4.0
PLANS = 8
Pair = tuple[int, int]


def main() -> None:
    """Print speed, then the number of questions until the order is right, then the order at half the questions."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=60, help="simulated rounds per line")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    speed(given.seed)
    error = 50 / np.sqrt(given.rounds)
    print(f"\n{given.rounds} rounds a line: shares have a Monte Carlo error of at most {error:.0f} points")
    for title, spread, quirk, judges in (
        ("judges of one mind", 40.0, 0.0, 4),
        ("judges of one mind", 40.0, 0.0, 8),
        ("clear plans", 4.0, 0.3, 8),
        ("usual plans", 1.5, 0.5, 4),
        ("usual plans", 1.5, 0.5, 8),
    ):
        savings(title, spread, quirk, judges, given.rounds, given.seed)


def speed(seed: int) -> None:
    """Print milliseconds for the sizes named in the bars."""
    rng = np.random.default_rng(seed)
    items = list(range(12))
    asked = [tuple(int(item) for item in rng.choice(12, 2, replace=False)) for _ in range(300)]
    fitted = fit(items, asked, prior=PRIOR)
    print(f"fit, 12 items, 300 comparisons: {milliseconds(lambda: fit(items, asked)):6.2f} ms (bar 20)")
    print(f"  with a prior:                 {milliseconds(lambda: fit(items, asked, prior=PRIOR)):6.2f} ms (bar 20)")
    print(f"next_pair, 12 items:            {milliseconds(lambda: next_pair(fitted, asked[:20])):6.2f} ms (bar 5)")
    system, right = rng.normal(size=(12, 12)), rng.normal(size=12)
    floor = milliseconds(lambda: np.linalg.solve(system, right))
    print(f"floor, one 12 x 12 solve:       {floor:6.2f} ms")


def milliseconds(work: Callable[[], object], times: int = 15) -> float:
    """The median of several runs."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return float(np.median(spent)) * 1000


def savings(title: str, spread: float, quirk: float, judges: int, rounds: int, seed: int) -> None:
    """Print, for one kind of team, what all questions, half of them at random and half of them chosen give."""
    rng = np.random.default_rng(seed)
    everything = judges * PLANS * (PLANS - 1) // 2
    taus: dict[str, list[float]] = {"all": [], "half, at random": [], "half, adaptive": []}
    right: dict[str, list[bool]] = {name: [] for name in taus}
    needed: list[int] = []
    for _ in range(rounds):
        truth = rng.permutation(np.linspace(-1, 1, PLANS)) * spread * np.sqrt(3 * (PLANS - 1) / (PLANS + 1))
        views = truth + quirk * rng.normal(size=(judges, PLANS))
        questions = [(judge, pair) for judge in range(judges) for pair in itertools.combinations(range(PLANS), 2)]
        shuffled = [questions[at] for at in rng.permutation(len(questions))]
        answers = {question: answer(rng, views, *question) for question in questions}
        halves = list(adaptive(answers, judges, everything // 2))
        outcomes = {
            "all": scores_of(list(answers.values())),
            "half, at random": scores_of([answers[question] for question in shuffled[: everything // 2]]),
            "half, adaptive": scores_of(halves),
        }
        for name, scores in outcomes.items():
            taus[name].append(tau(scores, truth))
            right[name].append(tau(scores, truth) == 1)
        needed.append(first_right(halves, truth, everything))
    print(f"\n{title}: {judges} judges, spread {spread:g}, own views differ by {quirk:g}; all = {everything} questions")
    for name in taus:
        print(f"  {name:16} order right {np.mean(right[name]):5.0%}   Kendall tau {np.mean(taus[name]):.3f}")
    inside = np.mean(np.array(needed) <= everything // 2)
    print(f"  adaptive: the right order is first seen after {np.median(needed):.0f} questions (median; a round")
    print(f"  that does not see it within half counts as all), within half of them in {inside:.0%} of rounds")


def answer(rng: np.random.Generator, views: np.ndarray, judge: int, pair: Pair) -> Pair:
    """The pair with the winner first."""
    one, other = pair
    chance = 0.5 * (1 + np.tanh((views[judge, one] - views[judge, other]) / 2))
    return pair if rng.random() < chance else (other, one)


def adaptive(answers: dict[tuple[int, Pair], Pair], judges: int, budget: int) -> Iterator[Pair]:
    """Answers in the order in which adaptive asking gets them."""
    items = list(range(PLANS))
    given: list[Pair] = []
    asked: list[list[Pair]] = [[] for _ in range(judges)]
    for turn in range(budget):
        judge = turn % judges
        pair = next_pair(fit(items, given, prior=PRIOR), asked[judge])
        assert pair is not None, "half of the questions leave every judge some"
        asked[judge].append(pair)
        given.append(answers[judge, pair])
        yield given[-1]


def scores_of(answers: list[Pair]) -> np.ndarray:
    return fit(list(range(PLANS)), answers, prior=PRIOR).scores


def tau(scores: np.ndarray, truth: np.ndarray) -> float:
    """Kendall's tau between estimated and true order."""
    pairs = itertools.combinations(range(len(truth)), 2)
    return float(np.mean([np.sign(scores[a] - scores[b]) * np.sign(truth[a] - truth[b]) for a, b in pairs]))


def first_right(answers: list[Pair], truth: np.ndarray, never: int) -> int:
    """After how many answers the order is right for the first time; `never` if it is not within them."""
    return next((n for n in range(1, len(answers) + 1) if tau(scores_of(answers[:n]), truth) == 1), never)


if __name__ == "__main__":
    main()
