"""Print how well duplicates are proposed on labelled boards, how probable they are when called so, and what it costs.

Run from the repository: python -m tests.bench.similarity [--boards FILE] [--scorer FILE] [--weights]

Boards and scorer are by default the open ones laid beside the repository (sources and licences in their README). For
each way, by words and by meaning, each board is left out in turn: the weights are fitted on the others, and what is
proposed on it is scored. Printed are quality by kind of board, by band of probability the share that is true, what to
expect on other boards (by drawing boards with replacement), proposals on boards without duplicates and typos found.
`--weights` prints the weights fitted on all boards, which are the package's. The outcome stands in similarity.txt
beside this file; seconds and megabytes are `tests.bench.similarity_cost`'s.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any
from unittest import mock

from coldframe.meaning import encoder as packaged
from coldframe.meaning import limit_threads

limit_threads()

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy.optimize import minimize  # noqa: E402

from coldframe.analysis import similarity  # noqa: E402
from coldframe.analysis.similarity import Encoder, propose, same_point  # noqa: E402
from coldframe.analysis.similarity.same_point import Weights  # noqa: E402

ROOT = Path(__file__).parents[2]
OPEN_BOARDS = ROOT.parent / "shared" / "data" / "near-duplicates"
BARS = {"words": (0.6, 0.7), "meaning": (0.75, 0.85)}
"""Least F1 and precision on boards that were left out of the fitting."""
RIDGE = 1.0
BANDS = (0.0, 0.1, 0.3, 0.5, 0.65, 0.8, 0.9, 1.01)
DRAWS = 2000

Board = dict[str, Any]


def main() -> int:
    """Print everything; 1 where a bar is not met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--boards", type=Path, default=OPEN_BOARDS / "boards_dev.json")
    parser.add_argument("--scorer", type=Path, default=OPEN_BOARDS / "score_boards.py")
    parser.add_argument("--weights", action="store_true")
    given = parser.parse_args()
    if not given.boards.is_file() or not given.scorer.is_file():
        parser.error(f"{given.boards} or {given.scorer} is not there")
    boards = json.loads(given.boards.read_text(encoding="utf-8"))["boards"]
    ways = dict(_ways())
    if given.weights:
        for name, encoder in ways.items():
            print(name, fitted([taken(board, encoder) for board in boards]))
        return 0
    met = [way(name, boards, encoder, scorer(given.scorer)) for name, encoder in ways.items()]
    return 0 if all(met) else 1


def _ways() -> Iterator[tuple[str, Encoder | None]]:
    yield "words", None
    if packaged() is not None:
        yield "meaning", packaged()
    else:
        print("meaning: left out, the extra is not installed")


def scorer(path: Path) -> Callable[[Any, Any], Any]:
    """The boards' own scorer."""
    spec = importlib.util.spec_from_file_location("score_boards", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.score  # type: ignore[no-any-return]


# --- fitting ---


@dataclass(frozen=True)
class Taken:
    """The signs of a board's pairs that are fitted, which pairs are true, and what else is added to the log odds."""

    signs: NDArray[np.float64]
    true: NDArray[np.float64]
    offset: NDArray[np.float64]


def taken(board: Board, encoder: Encoder | None) -> Taken:
    """Of all pairs that may be proposed, but those that count neither way."""
    notes = board["notes"]
    made = similarity._Board([n["text"] for n in notes], [n.get("side", "") for n in notes], encoder)
    ids = [notes[place]["id"] for place in made.places]
    true = {frozenset(pair) for group in board["groups"] for pair in combinations(group, 2)}
    ignored = {frozenset(pair) for pair in board.get("ignore", [])}
    pairs = [pair for pair in made.pairs() if frozenset(ids[note] for note in pair) not in ignored]
    first, second = np.array(pairs).T
    sizes = np.maximum(made.together.sum(axis=1), same_point.FEWEST)[first]
    labels = np.array([float(frozenset(ids[note] for note in pair) in true) for pair in pairs])
    signs = made.signs[:, first, second].T
    offset = np.log((same_point.USUAL - 1) / (sizes - 1)) + same_point.CONTRADICTED * signs[:, 2]
    return Taken(signs[:, :2], labels, offset)


def fitted(boards: Sequence[Taken]) -> Weights:
    """The weights by which the labels are most probable, with a light ridge on standardised signs."""
    signs = np.concatenate([board.signs for board in boards])
    true, offset = np.concatenate([b.true for b in boards]), np.concatenate([b.offset for b in boards])
    middle, spread = signs.mean(axis=0), signs.std(axis=0)
    design = np.c_[np.ones(len(signs)), (signs - middle) / spread]

    def loss(weights: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        along = design @ weights + offset
        slope = design.T @ (1 / (1 + np.exp(-along)) - true)
        ridge = np.r_[0.0, weights[1:]]
        value = np.logaddexp(0, along).sum() - (true * along).sum() + RIDGE / 2 * (ridge**2).sum()
        return float(value), slope + RIDGE * ridge

    best = minimize(loss, np.zeros(design.shape[1]), jac=True, method="L-BFGS-B").x
    slopes = best[1:] / spread
    return Weights(*(round(float(value), 2) for value in (best[0] - slopes @ middle, *slopes)))


def weighed(encoder: Encoder | None, weights: Weights) -> Any:
    """The package with other weights for a while."""
    return mock.patch.object(similarity, "BY_WORDS" if encoder is None else "BY_MEANING", weights)


# --- quality ---


def way(name: str, boards: Sequence[Board], encoder: Encoder | None, score: Callable[[Any, Any], Any]) -> bool:
    """Print one way's quality; whether its bars are met."""
    own = _left_out(boards, encoder)
    found = [_proposed(board, encoder, weights) for board, weights in zip(boards, own, strict=True)]
    totals = score({"boards": boards}, {"proposals": found})
    _quality(name, totals)
    _bands(boards, encoder, own)
    _expected(totals)
    _without_duplicates(boards, encoder, own)
    _typos(boards, encoder)
    print()
    least_f1, least_precision = BARS[name]
    return bool(totals["all"]["f1"] >= least_f1 and totals["all"]["precision"] >= least_precision)


def _left_out(boards: Sequence[Board], encoder: Encoder | None) -> list[Weights]:
    """For each board the weights that the others give."""
    all_ = [taken(board, encoder) for board in boards]
    return [fitted([*all_[:place], *all_[place + 1 :]]) for place in range(len(all_))]


def _proposed(board: Board, encoder: Encoder | None, weights: Weights) -> dict[str, Any]:
    """In the scorer's form."""
    notes = board["notes"]
    with weighed(encoder, weights):
        found = propose([n["text"] for n in notes], [n.get("side", "") for n in notes], encoder=encoder)
    return {"board_id": board["board_id"], "groups": [[notes[place]["id"] for place in p.notes] for p in found]}


def _figures(row: dict[str, Any]) -> str:
    return f"P {row['precision']:.2f}  R {row['recall']:.2f}  F1 {row['f1']:.3f}"


def _quality(name: str, totals: Any) -> None:
    print(f"by {name}, each board left out of the fitting (bars: F1 {BARS[name][0]}, P {BARS[name][1]})")
    for kind, row in [*totals["kinds"].items(), ("all", totals["all"])]:
        print(f"  {kind:10} true {row['true']:4}  proposed {row['proposed']:4}  {_figures(row)}")
    print("  found by kind of duplicate:", totals["all"]["recall_by_kind"])


def _bands(boards: Sequence[Board], encoder: Encoder | None, own: Sequence[Weights]) -> None:
    """Print of the pairs of each band of probability how many are true."""
    chances, true = [], []
    for board, weights in zip(boards, own, strict=True):
        notes = board["notes"]
        with weighed(encoder, weights):
            made = similarity._Board([n["text"] for n in notes], [n.get("side", "") for n in notes], encoder)
        ids = [notes[place]["id"] for place in made.places]
        ignored = {frozenset(pair) for pair in board.get("ignore", [])}
        same = {frozenset(pair) for group in board["groups"] for pair in combinations(group, 2)}
        for pair in made.pairs():
            both = frozenset(ids[note] for note in pair)
            if both not in ignored:
                chances.append(made.chances[pair])
                true.append(both in same)
    said, holds = np.array(chances), np.array(true)
    print("  probability said: pairs, said on average, true")
    for low, high in pairwise(BANDS):
        here = (said >= low) & (said < high)
        if here.any():
            figures = f"{here.sum():6}  {said[here].mean():5.2f}  {holds[here].mean():5.2f}"
            print(f"    {low:.2f} to {min(high, 1):.2f}: {figures}")


def _expected(totals: Any) -> None:
    """Print the middle and the range of nine in ten, for as many boards drawn with replacement."""
    rows, draw = list(totals["boards"].values()), np.random.default_rng(16)
    counts = np.array([[row["tp"], row["proposed"], row["true"]] for row in rows])
    sums = counts[draw.integers(0, len(rows), (DRAWS, len(rows)))].sum(axis=1)
    precision, recall = sums[:, 0] / sums[:, 1], sums[:, 0] / sums[:, 2]
    f1 = 2 * precision * recall / (precision + recall)
    for name, values in (("P", precision), ("R", recall), ("F1", f1)):
        low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
        print(f"  on other boards of these kinds expect {name:2} {middle:.2f} ({low:.2f} to {high:.2f})")


def _without_duplicates(boards: Sequence[Board], encoder: Encoder | None, own: Sequence[Weights]) -> None:
    """Print how much is proposed where one wording of each point is left."""
    draw, proposed, notes = random.Random(16), 0, 0
    for board, weights in zip(boards, own, strict=True):
        ignored = {note for pair in board.get("ignore", []) for note in pair}
        gone = {note for group in board["groups"] for note in draw.sample(group, len(group) - 1)} | ignored
        alone = {**board, "notes": [note for note in board["notes"] if note["id"] not in gone]}
        proposed += len(_proposed(alone, encoder, weights)["groups"])
        notes += len(alone["notes"])
    print(f"  without duplicates: {proposed} proposals among {notes} notes, {40 * proposed / notes:.2f} for 40")


def _typos(boards: Sequence[Board], encoder: Encoder | None) -> None:
    """Print how many misspelt copies of five notes a board are found, by the slips in each, among 24 unlike notes."""
    for slips in (1, 2, 3):
        found = tried = 0
        for board in boards:
            draw = random.Random(f"{board['board_id']} {slips}")
            repeated = {note for group in board["groups"] for note in group}
            texts = [note["text"] for note in board["notes"] if note["id"] not in repeated][:24]
            copies = [misspelt(text, slips, draw) for text in texts[:5]]
            sets = [set(one.notes) for one in propose(texts + copies, encoder=encoder)]
            found += sum(any({place, len(texts) + place} <= one for one in sets) for place in range(len(copies)))
            tried += len(copies)
        print(f"  of notes with {slips} random slip(s) {found} of {tried} found")


def misspelt(text: str, slips: int, draw: random.Random) -> str:
    """The text with letters doubled, left out, swapped or mistaken, never the first or last."""
    letters = list(text)
    for _ in range(slips):
        place = draw.randrange(1, len(letters) - 2)
        two = letters[place : place + 2]
        other = draw.choice("abcdefghijklmnopqrstuvwxyz")
        letters[place : place + 2] = draw.choice([[two[0], *two], two[1:], two[::-1], [other, two[1]]])
    return "".join(letters)


if __name__ == "__main__":
    raise SystemExit(main())
