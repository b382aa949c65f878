"""Whether the probabilities and intervals that the bot says are true: `python -m tests.bench.calibration`.

Said and true stand beside each other in simulated worlds whose truth is known, band by band, a third of the worlds from
families that no method assumes; on the right what the methods before said in the very same worlds. The worlds, their
assumptions and their sources stand at the head of the modules of `tests.calibration`. In ordinary worlds said and true
agree within 5 points; in hard ones what is said may only be too modest. A band further off than that and than twice the
error of this run is marked OFF. `--worlds` tells each world apart, for the eye: of single worlds a method may be off,
since nobody knows in which one they are.

What is said in words stands with what the words promise at least, in any world. "Would most likely show it" is sized
for a power of 80 in 100; "more than chance would plausibly give" is the boundary of the verdict, whose false alarms
`tests.bench.verdicts` counts; what is not said as a figure, since no method makes it true in every world, stands in the
table and is never off. The whole of the odds told before sealing, verdict by verdict, through the real path:
`tests.bench.odds`. Whether notes are one point: `tests.bench.similarity`. Forecasts are people's own; their chart shows
Wilson intervals, which `tests/analysis/test_proportions.py` checks. Last come the claims that were first found untrue,
before and now (`tests.calibration.found`). `--save` writes the table beside this file.
"""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import click

from tests.calibration import found, pairs, promises, trials, votes
from tests.calibration.claims import Row, Said, banded, by_world

SEED = 20260302
PARTS: dict[str, tuple[Callable[[int, int], Iterator[Said]], float]] = {
    "votes": (votes.statements, 1.0),
    "pairs": (pairs.statements, 0.5),
    "trials": (trials.statements, 3.0),
    "power": (trials.power, 0.25),
    "promises": (promises.statements, 0.015),
}
"""What makes statements, with its share of the number of worlds asked for."""
FOUND = "found"
"""The claims that were first found untrue, which are shown and not judged: each is judged above, in all its worlds."""
COLUMNS = f"{'number':>7} {'said':>5} {'true':>6} {'':5} {'off by':>6}"
HEAD = f"    {'':<26}{COLUMNS}      {COLUMNS} before"


def table(said: Iterable[Said], *, worlds: bool) -> tuple[str, int]:
    """All claims as text, and how many bands are off."""
    laid, lines, off = list(said), [], 0
    for claim in dict.fromkeys(one.claim for one in laid):
        lines += ["", claim]
        for hard in (False, True):
            now, before = (
                [one for one in laid if (one.claim, one.hard, one.earlier) == (claim, hard, then)]
                for then in (False, True)
            )
            if not (now or before):
                continue
            rows = list(banded(now, doubt=_doubt(claim)))
            off += sum(row.off for row in rows)
            lines += [f"  {'hard' if hard else 'ordinary'} worlds", HEAD, *_beside(rows, list(banded(before)))]
            if worlds:
                lines += ["", *map(Row.line, by_world(now, doubt=_doubt(claim)))]
    return "\n".join(lines), off


def _beside(now: Sequence[Row], before: Sequence[Row]) -> Iterator[str]:
    """Band by band; what only the method before said stands alone."""
    by_label, then = {row.label: row for row in now}, {row.label: row for row in before}
    for label in sorted(by_label.keys() | then.keys(), key=_from):
        row = by_label.get(label)
        yield row.line(then.get(label)) if row else f"    {label:<26}{'':39}{then[label].line()[30:]}"


def _from(label: str) -> int:
    """Where a band begins."""
    return int("".join(itertools.takewhile(str.isdigit, label.lstrip("abcdefghijklmnopqrstuvwxyz "))))


def _doubt(claim: str) -> float:
    """A small chance to meet a target is as bold a word as a large one; a small chance to stay first is not. Of a span
    the low end is bold where it lies above the truth, the high end where it lies below."""
    ends = {trials.LOW_END: 0.0, trials.HIGH_END: 1.1}
    end = next((doubt for end, doubt in ends.items() if claim.startswith(end)), None)
    return end if end is not None else (0.5 if claim.startswith("chance") else 0.0)


@click.command()
@click.option("--number", default=10_000, show_default=True, help="Worlds of votes; the other parts have their share.")
@click.option("--part", "parts", multiple=True, type=click.Choice([*PARTS, FOUND]), help="Only this; may be repeated.")
@click.option("--worlds", is_flag=True, help="Each world apart as well.")
@click.option("--seed", default=SEED, show_default=True)
@click.option("--save", is_flag=True, help="Write the table to calibration.txt beside this file.")
def main(number: int, parts: tuple[str, ...], worlds: bool, seed: int, save: bool) -> None:
    """Print the table said / true, and end with status 1 if a band is off."""
    off, told, counts = 0, [], []
    wanted = parts or (*PARTS, FOUND)
    for name in (part for part in PARTS if part in wanted):
        make, share = PARTS[name]
        begun = time.perf_counter()
        worlds_of = max(int(number * share), 1)
        text, wrong = table(make(worlds_of, seed), worlds=worlds)
        off += wrong
        counts.append(f"{name} {worlds_of:,}")
        click.echo(f"{text}\n\n({name}: {time.perf_counter() - begun:.0f} s)")
        told.append(text)
    if FOUND in wanted:
        told.append(found.table(number, seed))
        click.echo(f"\n{told[-1]}")
    click.echo(f"\n{off} bands off")
    if save:
        head = f"Worlds: {', '.join(counts)}; seed {seed}; {off} bands off"
        Path(__file__).with_suffix(".txt").write_text("\n".join([head, *told, ""]), encoding="utf-8")
    sys.exit(int(off > 0))


if __name__ == "__main__":
    main()
