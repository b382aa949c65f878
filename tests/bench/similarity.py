"""Print how well duplicates are proposed on labelled boards, and how long it takes.

Run from the repository: python -m tests.bench.similarity [--boards FILE] [--scorer FILE]

Boards and scorer are by default the open ones laid beside the repository (sources and licences in their README).
Printed are the quality of both methods by kind of board, the default's without one of its parts, the share of random
typos that is found, and the seconds for 150 notes beside a floor.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import random
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

from coldframe.meaning import NoEncoder, limit_threads, load_encoder

limit_threads()

import numpy as np  # noqa: E402

from coldframe.analysis.similarity import Encoder, propose  # noqa: E402

ROOT = Path(__file__).parents[2]
OPEN_BOARDS = ROOT.parent / "shared" / "data" / "near-duplicates"
BARS = {"words": (0.66, 0.5), "meaning": (0.75, 3.0)}
"""Least F1 and most seconds for 150 notes."""


def main() -> None:
    """Print quality, ablations, typos found and times."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--boards", type=Path, default=OPEN_BOARDS / "boards_dev.json")
    parser.add_argument("--scorer", type=Path, default=OPEN_BOARDS / "score_boards.py")
    given = parser.parse_args()
    if not given.boards.is_file() or not given.scorer.is_file():
        parser.error(f"{given.boards} or {given.scorer} is not there")
    boards = json.loads(given.boards.read_text(encoding="utf-8"))
    score = scorer(given.scorer)
    for name, encoder in ways():
        quality(name, boards, score, encoder)
    ablations(boards, score)
    for name, encoder in ways():
        typos(name, boards, encoder)
    times(boards)


def ways() -> Iterator[tuple[str, Encoder | None]]:
    """Both methods, the second one only where its model is installed."""
    yield "words", None
    try:
        yield "meaning", load_encoder()
    except NoEncoder as missing:
        print(f"meaning: left out, {missing}")


def scorer(path: Path) -> Callable[[Any, Any], Any]:
    """The boards' own scorer."""
    spec = importlib.util.spec_from_file_location("score_boards", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.score  # type: ignore[no-any-return]


def proposals(boards: Any, encoder: Encoder | None) -> dict[str, Any]:
    """Proposals for all boards in the scorer's form."""
    out = []
    for board in boards["boards"]:
        notes = board["notes"]
        found = propose([note["text"] for note in notes], [note.get("side", "") for note in notes], encoder=encoder)
        pairs = [[notes[pair.first]["id"], notes[pair.second]["id"]] for pair in found]
        out.append({"board_id": board["board_id"], "pairs": pairs})
    return {"proposals": out}


def quality(name: str, boards: Any, score: Callable[[Any, Any], Any], encoder: Encoder | None) -> None:
    """Print precision, recall and F1 by kind of board, F1's spread over boards, and recall by kind of duplicate."""
    totals = score(boards, proposals(boards, encoder))
    print(f"{name:10}{'true':>6}{'prop':>6}{'P':>7}{'R':>7}{'F1':>7}")
    for kind, row in [*totals["kinds"].items(), ("all", totals["all"])]:
        bar = f"  (bar {BARS[name][0]})" if kind == "all" else ""
        counts, shares = f"{row['true']:6}{row['proposed']:6}", f"{row['precision']:7.2f}{row['recall']:7.2f}"
        print(f"  {kind:8}{counts}{shares}{row['f1']:7.3f}{bar}")
    each = [row["f1"] for row in totals["boards"].values()]
    print(f"  boards: F1 mean {statistics.mean(each):.3f}, worst {min(each):.2f}, spread {statistics.pstdev(each):.2f}")
    print("  found by kind of duplicate:", totals["all"]["recall_by_kind"])


def ablations(boards: Any, score: Callable[[Any, Any], Any]) -> None:
    """Print the default's F1 without one of its parts."""
    package = "coldframe.analysis.similarity."
    parts = {
        "the thesaurus": (package + "lexical.meanings", dict),
        "turns of phrase": (package + "words.TURNS", ()),
        "near spelling": (package + "lexical._near_spelt", lambda _: ()),
        "spelling of notes": (package + "near_spelling", lambda wordings: np.zeros((len(wordings), len(wordings)))),
        "local scaling": (package + "scale_locally", lambda scores, _: scores),
        "the cap": (package + "choosing.usual_merges", lambda notes: notes),
    }
    for part, (target, stand_in) in parts.items():
        with replaced(target, stand_in):
            totals = score(boards, proposals(boards, None))["all"]
        print(f"words without {part:17} P {totals['precision']:.2f}  R {totals['recall']:.2f}  F1 {totals['f1']:.3f}")


def typos(name: str, boards: Any, encoder: Encoder | None) -> None:
    """Print how many misspelt copies of five notes a board are found, by the slips in each, among 24 unlike notes."""
    for slips in (1, 2, 3):
        found = tried = 0
        for board in boards["boards"]:
            draw = random.Random(f"{board['board_id']} {slips}")
            repeated = {note for group in board["groups"] for note in group}
            texts = [note["text"] for note in board["notes"] if note["id"] not in repeated][:24]
            copies = [misspelt(text, slips, draw) for text in texts[:5]]
            pairs = {(pair.first, pair.second) for pair in propose(texts + copies, encoder=encoder)}
            found += sum((place, len(texts) + place) in pairs for place in range(len(copies)))
            tried += len(copies)
        print(f"{name}: of notes with {slips} random slip(s) {found} of {tried} found")


def misspelt(text: str, slips: int, draw: random.Random) -> str:
    """The text with letters doubled, left out, swapped or mistaken, never the first or last."""
    letters = list(text)
    for _ in range(slips):
        place = draw.randrange(1, len(letters) - 2)
        two = letters[place : place + 2]
        other = draw.choice("abcdefghijklmnopqrstuvwxyz")
        letters[place : place + 2] = draw.choice([[two[0], *two], two[1:], two[::-1], [other, two[1]]])
    return "".join(letters)


@contextmanager
def replaced(target: str, stand_in: object) -> Iterator[None]:
    """One name of the package replaced for a while."""
    with mock.patch(target, stand_in):
        yield


def times(boards: Any) -> None:
    """Print the median time for 150 notes of one group, beside the floor of 11,175 plain ratios."""
    from rapidfuzz.fuzz import ratio
    from rapidfuzz.process import cdist

    texts = [note["text"] for board in boards["boards"] for note in board["notes"]][:150]
    for name, encoder in ways():
        spent = measured(lambda way=encoder: propose(texts, encoder=way))  # type: ignore[misc]
        print(f"{name}: {len(texts)} notes in {spent} (bar {BARS[name][1]} s)")
    print(f"floor: plain edit ratio of all pairs {measured(lambda: cdist(texts, texts, scorer=ratio))}")
    print(f"floor: one 1536 x 384 x 4000 product {measured(product)} (the encoder takes 24 of this order)")


def product() -> object:
    """A product of the size that fills most of the encoder's time."""
    rng = np.random.default_rng(1)
    return rng.random((1536, 384), dtype=np.float32) @ rng.random((384, 4000), dtype=np.float32)


def measured(work: Callable[[], object], runs: int = 5) -> str:
    """The medians of several runs: seconds by the clock, and by the processor, which others cannot stretch."""
    clock, processor = [], []
    for _ in range(runs):
        started = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - started[0])
        processor.append(time.process_time() - started[1])
    return f"{statistics.median(clock):.3f} s, processor {statistics.median(processor):.3f} s"


if __name__ == "__main__":
    main()
