"""Print how many sentences that should raise a caution do, and how many that should not.

Run from the repository: python -m tests.bench.cautions [--fit] [--last]

The sentences of `tests/analysis/caution_sentences.tsv` are split by a fixed seed into halves of 50 and 50. The first
may be looked at: it is fitted together with `caution_training.tsv`, and its figures come from fits that leave a tenth
out. The second is scored with `--last` alone, once the method stands. `--fit` writes the package's weights.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from coldframe.meaning import limit_threads

limit_threads()

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy.optimize import minimize  # noqa: E402

from coldframe.analysis.similarity import Encoder  # noqa: E402
from coldframe.analysis.touching import RAISED, TOPICS, Weights, scored  # noqa: E402
from coldframe.domain.round.plans import cautions  # noqa: E402
from coldframe.meaning import CAUTIONS, caution_weights, load_encoder  # noqa: E402

TRAINING = Path(__file__).with_name("caution_training.tsv")
SENTENCES = Path(__file__).parents[1] / "analysis" / "caution_sentences.tsv"
SEED, HALF, FOLDS, RIDGE = "coldframe cautions", 50, 10, 0.1
BARS = (0.85, 0.1)  # found at least, wrongly at most
Row = tuple[float, str, str]
"""(label, topic, sentence)."""


def main() -> int:
    """Fit, or print the figures; 1 where a bar is missed on the last half."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--last", action="store_true")
    given = parser.parse_args()
    seen = [*read(TRAINING), *half(0)]
    if given.fit:
        np.save(CAUTIONS, fitted(seen))
    degrees = _left_out(seen)[len(seen) - 2 * HALF :]
    _figures("looked at, left out of the fit", half(0), degrees >= RAISED)
    _figures("looked at, by words", half(0), _by_words(half(0)))
    if not given.last:
        return 0
    last = half(1)
    raised = scored([row[2] for row in last], _encoder(), caution_weights())[:, 0] >= RAISED
    _figures("looked at once, by words", last, _by_words(last))
    found, wrong = _figures("looked at once", last, raised)
    return 0 if found >= BARS[0] and wrong <= BARS[1] else 1


@cache
def _encoder() -> Encoder:
    return load_encoder()


def read(path: Path) -> list[Row]:
    """The rows below the remarks and the line of names."""
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return [(float(label), topic, text) for label, topic, text in (line.split("\t") for line in lines[1:])]


def half(which: int) -> list[Row]:
    """50 that should raise a caution, and 50 that should not."""
    chosen = []
    for label in (1.0, 0.0):
        rows = [row for row in read(SENTENCES) if row[0] == label]
        random.Random(SEED).shuffle(rows)
        chosen += rows[which * HALF : (which + 1) * HALF]
    return chosen


def fitted(rows: Sequence[Row]) -> Weights:
    """Whether anything is touched, from all; which topic, from those that touch one."""
    vectors = _encoder()([row[2] for row in rows]).astype(float)
    touching = np.array([row[0] for row in rows])
    delicate = touching == 1
    topics = [np.array([float(row[1] == topic) for row in rows])[delicate] for topic in TOPICS]
    weights = [_logistic(vectors, touching), *(_logistic(vectors[delicate], own) for own in topics)]
    return np.array(weights, dtype=np.float32)


def _logistic(vectors: NDArray[np.float64], labels: NDArray[np.float64]) -> NDArray[np.float64]:
    design = np.c_[vectors, np.ones(len(vectors))]

    def loss(weights: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        along, ridge = design @ weights, np.r_[weights[:-1], 0.0]
        slope = design.T @ (1 / (1 + np.exp(-along)) - labels) + RIDGE * ridge
        return float(np.logaddexp(0, along).sum() - labels @ along + RIDGE / 2 * ridge @ ridge), slope

    best: NDArray[np.float64] = minimize(loss, np.zeros(design.shape[1]), jac=True, method="L-BFGS-B").x
    return best


def _left_out(rows: Sequence[Row]) -> NDArray[np.float64]:
    """The log odds of each row from a fit without its tenth."""
    order, degrees = np.random.default_rng(16).permutation(len(rows)), np.zeros(len(rows))
    for fold in range(FOLDS):
        out = order[fold::FOLDS]
        weights = fitted([rows[i] for i in sorted(set(range(len(rows))) - set(out.tolist()))])
        degrees[out] = scored([rows[i][2] for i in out], _encoder(), weights)[:, 0]
    return degrees


def _by_words(rows: Sequence[Row]) -> NDArray[np.bool_]:
    return np.array([bool(cautions(row[2])) for row in rows])


def _figures(name: str, rows: Sequence[Row], raised: NDArray[np.bool_]) -> tuple[float, float]:
    labels = np.array([row[0] for row in rows]) == 1
    found, wrong = float(raised[labels].mean()), float(raised[~labels].mean())
    print(f"{name:32} found {found:4.0%}  wrongly {wrong:4.0%}  (of {labels.sum()} and {(~labels).sum()})")
    return found, wrong


if __name__ == "__main__":
    raise SystemExit(main())
