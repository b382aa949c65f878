"""`coldframe size`: how many weeks a success measure needs, and what three to six weeks can show."""

from __future__ import annotations

import json
import math
import sys
import textwrap
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import click

from coldframe.analysis.inputs import BadNumber, whole
from coldframe.analysis.measures import Kind
from coldframe.analysis.sizing import PlanMeasure, SizingReport, WeeksRow, weeks_needed
from coldframe.cli import not_beside
from coldframe.engine.reading import Unreadable, numbers
from coldframe.errors import WRONG, ColdframeError
from coldframe.speech.trial.sizing_report import advice, summary, value

KINDS = {
    "share": "split-shares",
    "mean": "split-means",
    "rate": "split-rates",
    "one-share": "share-target",
    "count": "count-target",
    "before-after": "before-after",
}
"""What people type -> the kind of measure."""

NEEDED = {"sd": {"mean", "before-after"}, "weekly": {"share", "mean", "rate", "one-share"}}
"""Option -> the kinds that need it; for others it would be ignored."""
USED = {
    **NEEDED,
    "baseline_weeks": {"count", "before-after"},
    "unit": {"mean", "rate", "count", "before-after"},
}
"""The same, with those that have a usual value."""
WHOLE = {"--weekly", "--baseline-weeks"}
"""What is counted in people or weeks: 1.200 of them are twelve hundred."""


EXAMPLES = {
    "share": "--baseline 4% --target 5% --weekly 900",
    "mean": "--kind mean --baseline 20 --target 22 --sd 15 --weekly 300",
    "rate": "--kind rate --baseline 0.2 --target 0.3 --weekly 900",
    "one-share": "--kind one-share --baseline 4% --target 5% --weekly 900",
    "count": "--kind count --baseline 20 --target 30",
    "before-after": "--kind before-after --baseline 40 --target 46 --sd 5",
}


class Refused(ColdframeError):
    """Input that cannot be used; the message says which form would do."""

    status = WRONG


@click.command()
@click.option("--baseline", metavar="LEVEL", help="The level now: 4%, 0.04 or 1/25; for other kinds a number.")
@click.option("--target", metavar="LEVEL", help="The level to be reached, written in the same ways.")
@click.option("--weekly", metavar="NUMBER", help="People (or exposure) a week in both groups together.")
@click.option(
    "--kind", type=click.Choice(list(KINDS)), default="share", show_default=True, help="What is measured, and how."
)
@click.option("--sd", metavar="NUMBER", help="Spread: of one person's value (mean), of one week (before-after).")
@click.option("--baseline-weeks", default="8", show_default=True, help="Earlier whole weeks (count, before-after).")
@click.option("--power", default="80%", show_default=True, help="The chance to see the target's effect.")
@click.option("--alpha", default="5%", show_default=True, help="The chance of a false alarm, both sides together.")
@click.option("--unit", default="", help="What a mean or a count is measured in.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
def command(as_json: bool, **options: str | None) -> None:
    """Say how many weeks a success measure needs, and the smallest effect that 3, 4, 5 and 6 weeks can show.

    \b
    coldframe size --baseline 4% --target 5% --weekly 900
    coldframe size --kind mean --baseline 20 --target 22 --sd 15 --weekly 300

    Kinds: share, mean and rate compare two groups at the same time; one-share compares with a fixed share,
    count and before-after with earlier weeks (their baseline and target are weekly values).
    """
    kind = options["kind"] or "share"
    for name, kinds in USED.items():
        if kind not in kinds:
            not_beside(f"is not for --kind {kind}: it is for {', '.join(k for k in KINDS if k in kinds)}", name)
    _all_given(options, kind)
    try:
        report = weeks_needed(_plan(options))
    except BadNumber as wrong:
        typed = options.get(wrong.argument) or wrong.value
        raise Refused(f"{_named(wrong.argument)} {typed}: allowed is {wrong.allowed}") from wrong
    click.echo(_json(report) if as_json else _words(report))


def _named(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _all_given(options: dict[str, str | None], kind: str) -> None:
    """All that is missing is told at once."""
    wanted = ["baseline", "target", *(name for name, kinds in NEEDED.items() if kind in kinds)]
    if missing := [_named(name) for name in wanted if options[name] is None]:
        what = f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing"
        raise Refused(f"{what}; an example: coldframe size {EXAMPLES[kind]}")


def _plan(options: dict[str, str | None]) -> PlanMeasure:
    kind = Kind(KINDS[options["kind"] or "share"])
    level = _share if kind in (Kind.SPLIT_SHARES, Kind.SHARE_TARGET) else _number

    def number(name: str, read: Callable[[str, str], float] = _number) -> float | None:
        return None if options[name] is None else read(_named(name), options[name] or "")

    return PlanMeasure(
        kind=kind,
        baseline=number("baseline", level) or 0.0,
        target=number("target", level) or 0.0,
        weekly=number("weekly"),
        sd=number("sd"),
        baseline_weeks=whole("baseline_weeks", number("baseline_weeks")),
        power=number("power", _share) or 0.0,
        alpha=number("alpha", _share) or 0.0,
        unit=options["unit"] or "",
    )


# --- reading numbers ----------------------------------------------------------------------------------------


def _share(name: str, text: str) -> float:
    """A share out of "4%", "4,5 %", "1/25" or "0.04"; 1 and more without a sign is asked about, never guessed."""
    value = _number(name, text)
    bare = text.strip()[-1:].isdigit() and "/" not in text
    if value < 1 or not bare:
        return value
    if value >= 100:
        raise Refused(f"{name} {text}: a share lies between 0 and 1, or between 0% and 100%")
    return _asked(name, text, value)


def _asked(name: str, text: str, value: float) -> float:
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise Refused(
            f"{name} {text}: do you mean {text}%? Write {text}% for {text} in a hundred, or a share such as 0.05"
        )
    if not click.confirm(f"{name} {text}: do you mean {text}%, {text} in a hundred?", err=True):
        raise Refused(f"{name} {text}: write a percentage (4%), a share (0.04) or a fraction (1/25)")
    return value / 100


def _number(name: str, text: str) -> float:
    """As it is read in the chat; what is counted has no half, so that 1.200 of it are twelve hundred."""
    try:
        return numbers.amount(text) if name in WHOLE else numbers.level(text)
    except Unreadable as problem:
        raise Refused(f"{name}: {problem}") from None


# --- answering ----------------------------------------------------------------------------------------------


def _words(report: SizingReport) -> str:
    plan = report.plan
    prose = [summary(report)]
    if report.per_group is not None and math.isfinite(report.per_group):
        prose.append(f"That needs {math.ceil(report.per_group - 1e-6):,} {_group(plan)}.")
    spread = "" if plan.sd is None else f"a spread of {plan.sd:g}, "
    prose.append(
        f"Worked out for {spread}a chance of {100 * plan.power:g}% to see the target's effect and of "
        f"{100 * plan.alpha:g}% to see one where there is none, with one look at the end; looking every week takes "
        "about 3% more."
    )
    lines = [*map(_wrapped, prose), "", *_table(report)]
    helping = advice(report)
    if helping:
        lines += ["", "What would help:", *(_wrapped(one, "- ") for one in helping)]
    return "\n".join(lines)


def _wrapped(text: str, bullet: str = "") -> str:
    return textwrap.fill(text, 100, initial_indent=bullet, subsequent_indent=" " * len(bullet))


def _table(report: SizingReport) -> list[str]:
    plan = report.plan
    head = ["weeks", _group(plan), "smallest target seen", "change", f"shows {value(plan, plan.target)}"]
    rows = [
        [
            str(row.weeks),
            "" if row.per_group is None else f"{row.per_group:,.0f}",
            value(plan, row.smallest_target),
            _change(plan, row),
            "yes" if row.shows_target else "no",
        ]
        for row in report.rows
    ]
    cells = [[one for one, name in zip(row, head, strict=True) if name] for row in (head, *rows)]
    widths = [max(len(row[place]) for row in cells) for place in range(len(cells[0]))]
    return ["  ".join(f"{one:>{width}}" for one, width in zip(row, widths, strict=True)) for row in cells]


def _change(plan: PlanMeasure, row: WeeksRow) -> str:
    if not math.isfinite(row.smallest_effect):
        return "-"
    share = KINDS["share"] == plan.kind or KINDS["one-share"] == plan.kind
    amount = f"{100 * row.smallest_effect:+.2g} points" if share else f"{row.smallest_effect:+.3g} {plan.unit}".strip()
    return f"{amount} ({100 * row.smallest_effect / plan.baseline:+.0f}%)" if plan.baseline > 0 else amount


def _group(plan: PlanMeasure) -> str:
    names = {"share": "people in each group", "mean": "people in each group", "rate": "exposure in each group"}
    names["one-share"] = "people"
    return next((words for kind, words in names.items() if KINDS[kind] == plan.kind), "")


def _json(report: SizingReport) -> str:
    told = {**asdict(report), "summary": summary(report), "advice": advice(report)}
    return json.dumps(_finite(told), indent=2, ensure_ascii=False)


def _finite(value: Any) -> Any:
    """The same with None for infinite numbers, which JSON does not know."""
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
