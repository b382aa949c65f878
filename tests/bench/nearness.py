"""Print how often texts that belong together are found, and others wrongly, by meaning and by words alone.

Run from the repository: python -m tests.bench.nearness

Plans in other words, wordings for the same people, notes of which the lever is known, stories by the question that they
were told for, and questions in other words among others; all beside `tests/analysis`, written before anything was
measured. The bars of `analysis.nearness` were chosen by them. What has no bar stands in an order from which a person
chooses: how often the right one is first, and among the first two, beside what chance gives.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
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
        for what, (order, by_chance) in ORDERS.items():
            first, two = order(encoder)
            chance, chance_of_two = by_chance
            print(f"  {what:34} first {first:4.0%} of two {two:4.0%}  (by chance {chance:.0%} and {chance_of_two:.0%})")


def shares(encoder: Encoder | None) -> dict[str, Shares]:
    """Of each kind of text."""
    plans, people = (rows(name) for name in ("plans_reworded", "people_counted"))
    reworded = [other for _, other in plans]
    in_plans = {
        (one, other)
        for one, (plan, _) in enumerate(plans)
        for other in nearness.alike_plans(plan, reworded, encoder, len(plans))
    }
    return {
        "plans": _shares(len(plans), in_plans),
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
    return _first_and_two(places)


def stories(encoder: Encoder | None) -> Shares:
    """Of stories, as often as the question that each was told for is the likeliest of its round, and one of two."""
    told = rows("stories_told")
    places = []
    for round_, question, story in told:
        asked = sorted({other for of, other, _ in told if of == round_})
        places.append(nearness.likeliest_questions(story, asked, encoder).index(asked.index(question)))
    return _first_and_two(places)


def earlier(encoder: Encoder | None) -> Shares:
    """Of questions, as often as the same in other words is the likeliest of all that others asked."""
    pairs = rows("questions_reworded")
    asked = [other for _, other in pairs]
    return _first_and_two(
        [nearness.likeliest_questions(one, asked, encoder).index(n) for n, (one, _) in enumerate(pairs)]
    )


def side_by_side(encoder: Encoder | None) -> Shares:
    """Of rounds of five questions of which two ask nearly the same, as often as these come first, or stand beside each
    other."""
    pairs, first, beside = rows("questions_reworded"), 0, 0
    for n, (one, other) in enumerate(pairs):
        asked = [pairs[(n + step) % len(pairs)][0] for step in (3, 5)] + [one, pairs[(n + 1) % len(pairs)][1], other]
        order = nearness.side_by_side(asked, encoder)
        first += set(order[:2]) == {2, 4}
        beside += abs(order.index(2) - order.index(4)) == 1
    return first / len(pairs), beside / len(pairs)


def _first_and_two(places: Sequence[int]) -> Shares:
    return sum(place == 0 for place in places) / len(places), sum(place < 2 for place in places) / len(places)


ORDERS: dict[str, tuple[Callable[[Encoder | None], Shares], Shares]] = {
    "a line's lever, of three": (levers, (1 / 3, 2 / 3)),
    "a story's question, of four": (stories, (1 / 4, 2 / 4)),
    "an earlier question, of twelve": (earlier, (1 / 12, 2 / 12)),
    "two alike of five, then side by side": (side_by_side, (1 / 10, 4 / 10)),
}


def rows(name: str) -> list[list[str]]:
    """Below the remarks and the line of names."""
    lines = (HERE / f"{name}.tsv").read_text(encoding="utf-8").splitlines()
    return [line.split("\t") for line in lines if not line.startswith("#")][1:]


if __name__ == "__main__":
    main()
