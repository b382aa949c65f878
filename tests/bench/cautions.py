"""Print how many sentences that should raise a caution do, and how many that should not.

Run from the repository: python -m tests.bench.cautions [--fit] [--last] [--apart]

The sentences of `tests/analysis/caution_sentences.tsv` and `caution_topics.tsv` are split into halves of 50 and 50. The
first of each may be looked at: it is fitted together with `caution_training.tsv`, and its figures come from fits that
leave a tenth out. The second halves, and the short steps of `caution_short.tsv`, are scored with `--last` alone, once
the method stands. The first file and the short steps were scored before the training grew and the method changed; the
kept half of the second was scored once, after all of it, and so was the whole of `caution_tricks.tsv`, of which no fit
has a sentence. `--fit` writes the package's weights. `--apart` prints the
training sentences that lie so near to one that is kept apart that it would be no longer unseen; they are taken out.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict
from functools import cache
from pathlib import Path

from coldframe.meaning import limit_threads

limit_threads()

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402
from scipy.optimize import minimize  # noqa: E402

from coldframe.analysis.similarity import Encoder  # noqa: E402
from coldframe.analysis.similarity.words import read as wording  # noqa: E402
from coldframe.analysis.touching import RAISED, TOPICS, Weights, scored, touched  # noqa: E402
from coldframe.domain.round.plans import cautions  # noqa: E402
from coldframe.meaning import CAUTIONS, caution_weights, load_encoder  # noqa: E402

TRAINING = Path(__file__).with_name("caution_training.tsv")
SENTENCES = Path(__file__).parents[1] / "analysis" / "caution_sentences.tsv"
SHORT, TOPICS_ALONE, TRICKS = (SENTENCES.with_name(f"caution_{name}.tsv") for name in ("short", "topics", "tricks"))
NEAR = 0.75
"""Cosine from which a sentence is nearly another one."""
SEED, HALF, FOLDS, RIDGE = "coldframe cautions", 50, 10, 0.2
FEW_WORDS = 6  # of what is called short, at most one less
BARS = (0.85, 0.1)  # found at least, wrongly at most
CLASSES = 1 + len(TOPICS)
Grid = NDArray[np.float64]
Row = tuple[float, str, str]
"""(label, topic, sentence)."""


def main() -> int:
    """Fit, or print the figures; 1 where what is scored at the end misses a bar."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--last", action="store_true")
    parser.add_argument("--apart", action="store_true")
    given = parser.parse_args()
    if given.apart:
        print("\n".join(too_near()))
        return 0
    seen = looked_at()
    if given.fit:
        np.savez_compressed(CAUTIONS, **asdict(fitted(seen)))  # type: ignore[arg-type]
    degrees = _left_out(seen)
    _figures("all, left out of the fit", seen, degrees)
    short = np.array([len(row[2].split()) < FEW_WORDS for row in seen])
    _figures("  short steps among them", [row for row, few in zip(seen, short, strict=True) if few], degrees[short])
    _figures("  the halves that may be looked at", seen[-4 * HALF :], degrees[-4 * HALF :])
    if not given.last:
        return 0
    weights = caution_weights()
    met = True
    for name, rows in {**kept_apart(), "all of these": unseen()}.items():
        found, wrong = _figures(name, rows, scored([row[2] for row in rows], _encoder(), weights))
        met = met and found >= BARS[0] and wrong <= BARS[1]
    _raised("as the bot reads, one by one", unseen(), lambda text: touched([text], _encoder(), weights))
    _raised("by the list of words alone", unseen(), cautions)
    return 0 if met else 1


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


def topics_alone(which: int) -> list[Row]:
    """The same of the sentences that were written from the topics alone: every second one."""
    rows = read(TOPICS_ALONE)
    return [row for label in (1.0, 0.0) for row in [row for row in rows if row[0] == label][which::2]]


def looked_at() -> list[Row]:
    """What the weights are fitted to."""
    return [*read(TRAINING), *half(0), *topics_alone(0)]


def kept_apart() -> dict[str, list[Row]]:
    """What no fit and no choice has seen, by where it comes from."""
    return {
        "from the topics alone, kept": topics_alone(1),
        "the first hundreds, kept": half(1),
        "short steps": read(SHORT),
        "other ways to grow": read(TRICKS),
    }


def unseen() -> list[Row]:
    return [row for rows in kept_apart().values() for row in rows]


def too_near() -> list[str]:
    """Sentences of the training that are nearly one of those that are kept apart."""
    training, apart = [row[2] for row in read(TRAINING)], [row[2] for row in unseen()]
    nearest = (_vectors(tuple(training)) @ _vectors(tuple(apart)).T).max(axis=1)
    return [text for text, degree in zip(training, nearest, strict=True) if degree >= NEAR]


def fitted(rows: Sequence[Row]) -> Weights:
    """The weights by which the labels are most probable, with a ridge on all but the start."""
    stems, rarity = _stems([row[2] for row in rows])
    size = len(_encoder()([""])[0])
    empty = Weights(np.zeros(CLASSES), np.zeros((size, CLASSES)), stems, rarity, np.zeros((len(stems), CLASSES)))
    texts = [row[2] for row in rows]
    design = np.c_[_vectors(tuple(texts)), empty.said(texts), np.ones(len(rows))]
    best = _softmax(design, np.array([1 + TOPICS.index(row[1]) if row[0] == 1 else 0 for row in rows]))
    return Weights(best[-1], best[:size], stems, rarity, best[size:-1])


@cache
def _vectors(texts: tuple[str, ...]) -> Grid:
    return np.asarray(_encoder()(texts), dtype=np.float64)


def _stems(texts: Sequence[str]) -> tuple[Sequence[str], Grid]:
    """All stems, and how rare each is among the texts."""
    counts = Counter(stem for text in texts for stem in set(wording(text).stems))
    stems = sorted(counts)
    return np.array(stems).tolist(), np.log(len(texts) / np.array([counts[stem] for stem in stems]))


def _softmax(design: Grid, labels: NDArray[np.int64]) -> Grid:
    """Shape (columns, classes). Sought among the sums of rows, in which it lies, as there are far fewer of them."""
    left, sizes, right = np.linalg.svd(design[:, :-1], full_matrices=False)
    rows, true = np.c_[left * sizes, design[:, -1]], np.eye(CLASSES)[labels]

    def loss(flat: Grid) -> tuple[float, Grid]:
        weights = flat.reshape(-1, CLASSES)
        ridge = RIDGE * np.r_[weights[:-1], np.zeros((1, CLASSES))]
        along = rows @ weights
        total = np.logaddexp.reduce(along, axis=1, keepdims=True)
        slope = rows.T @ (np.exp(along - total) - true) + ridge
        return float((total - along)[true == 1].sum() + (ridge * weights).sum() / 2), slope.ravel()

    start, options = np.zeros(rows.shape[1] * CLASSES), {"maxiter": 10_000, "ftol": 1e-12, "gtol": 1e-6}
    best: Grid = minimize(loss, start, jac=True, method="L-BFGS-B", options=options).x.reshape(-1, CLASSES)
    return np.r_[right.T @ best[:-1], best[-1:]]


def _left_out(rows: Sequence[Row]) -> Grid:
    """The log odds of each row from a fit without its tenth."""
    order, degrees = np.random.default_rng(16).permutation(len(rows)), np.zeros((len(rows), CLASSES))
    for fold in range(FOLDS):
        out = order[fold::FOLDS]
        weights = fitted([rows[i] for i in sorted(set(range(len(rows))) - set(out.tolist()))])
        degrees[out] = scored([rows[i][2] for i in out], _encoder(), weights)
    return degrees


def _raised(way: str, rows: Sequence[Row], cautious: Callable[[str], Sequence[object]]) -> None:
    raised = np.array([bool(cautious(row[2])) for row in rows])
    labels = np.array([row[0] for row in rows]) == 1
    print(f"{'  ' + way:34} found {raised[labels].mean():4.0%}  wrongly {raised[~labels].mean():4.0%}")


def _figures(name: str, rows: Sequence[Row], degrees: Grid) -> tuple[float, float]:
    labels, raised = np.array([row[0] for row in rows]) == 1, degrees[:, 0] >= RAISED
    found, wrong = float(raised[labels].mean()), float(raised[~labels].mean())
    right = [TOPICS[degree.argmax()] == row[1] for degree, row in zip(degrees[:, 1:], rows, strict=True)]
    topic = np.array(right)[labels & raised].mean()
    of = f"(of {labels.sum()} and {(~labels).sum()}; right topic {topic:.0%})"
    print(f"{name:34} found {found:4.0%}  wrongly {wrong:4.0%}  {of}")
    return found, wrong


if __name__ == "__main__":
    raise SystemExit(main())
