"""Print how often texts that belong together are found, and others wrongly, by meaning and by words alone.

Run from the repository: python -m tests.bench.nearness

Plans and questions in other words, wordings for the same people, and notes of which the lever is known; all beside
`tests/analysis`, written before anything was measured. The bars of `analysis.nearness` were chosen by them.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import product
from pathlib import Path

from coldframe.meaning import encoder as packaged
from coldframe.meaning import limit_threads

limit_threads()

from coldframe.analysis import nearness  # noqa: E402
from coldframe.analysis.similarity import Encoder  # noqa: E402

HERE = Path(__file__).parents[1] / "analysis"
LEVERS = {
    "acquisition": "Acquisition: how people first hear of us and come",
    "activation": "Activation: how they get, for the first time, what they came for",
    "retention": "Retention: why they come back, or don't",
}
Shares = tuple[float, float]
"""Found, and wrongly found of all that are others."""


def main() -> None:
    """Both ways."""
    for name, encoder in (("by meaning", packaged()), ("by words", None)):
        print(name)
        for what, (found, wrongly) in shares(encoder).items():
            print(f"  {what:10} found {found:4.0%}  wrongly {wrongly:5.1%}")
        first, two = levers(encoder)
        print(f"  the right lever first {first:.0%}, among the first two {two:.0%} (by chance 33% and 67%)")


def shares(encoder: Encoder | None) -> dict[str, Shares]:
    """Of each kind of text."""
    plans, questions, people = (rows(name) for name in ("plans_reworded", "questions_reworded", "people_counted"))
    reworded = [other for _, other in plans]
    in_plans = {
        (one, other)
        for one, (plan, _) in enumerate(plans)
        for other in nearness.alike_plans(plan, reworded, encoder, len(plans))
    }
    in_questions = nearness.alike_questions([one for one, _ in questions], [other for _, other in questions], encoder)
    return {
        "plans": _shares(len(plans), in_plans),
        "questions": _shares(len(questions), set(in_questions)),
        "people": _of_people(people, encoder),
    }


def _shares(number: int, found: set[tuple[int, int]]) -> Shares:
    """Of pairs of which those on one line are alike."""
    others = [pair for pair in product(range(number), repeat=2) if pair[0] != pair[1]]
    return sum((n, n) in found for n in range(number)) / number, sum(pair in found for pair in others) / len(others)


def _of_people(people: Sequence[Sequence[str]], encoder: Encoder | None) -> Shares:
    held = {
        same: [bool(nearness.same_people(pair, encoder)) for label, *pair in people if (label == "1") is same]
        for same in (True, False)
    }
    return sum(held[True]) / len(held[True]), sum(held[False]) / len(held[False])


def levers(encoder: Encoder | None) -> Shares:
    """Of the project's own growth notes, as often as their board's lever is the likeliest, and one of two."""
    boards = json.loads((HERE / "growth_notes.json").read_text(encoding="utf-8"))["boards"]
    names, kinds = list(LEVERS), list(LEVERS.values())
    places = [
        nearness.likeliest(note["text"], kinds, encoder).index(names.index(board["topic"].partition(":")[0]))
        for board in boards
        for note in board["notes"]
    ]
    return sum(place == 0 for place in places) / len(places), sum(place < 2 for place in places) / len(places)


def rows(name: str) -> list[list[str]]:
    """Below the remarks and the line of names."""
    lines = (HERE / f"{name}.tsv").read_text(encoding="utf-8").splitlines()
    return [line.split("\t") for line in lines if not line.startswith("#")][1:]


if __name__ == "__main__":
    main()
