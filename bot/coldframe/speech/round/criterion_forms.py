"""The fields of a criterion: a few on a plan's page, and at the commitment a short form for each kind of measure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from coldframe.domain.criterion import KIND_BY_NAME
from coldframe.domain.names import PlanId
from coldframe.domain.state import TWO_GROUPS, WITH_PEOPLE, ComparisonKind, Criterion, Plan, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Field, Form, Option, line
from coldframe.speech.levels import typed, typed_level
from coldframe.speech.names import about

LATER = "You can leave this for the commitment."
KINDS = (
    Option("split", "A share of people, two groups at the same time"),
    Option("mean", "A mean a head, two groups at the same time"),
    Option("rate", "Events per unit, two groups at the same time"),
    Option("before-after", "Weeks against earlier weeks"),
    Option("count", "A count against a number"),
    Option("share", "A share of people against a fixed share"),
)
POPULATIONS = (
    Option("", "Others: as the words above say"),
    Option("visitors", "People who are no customers yet"),
    Option("new", "New customers"),
    Option("existing", "Customers of longer standing"),
    Option("everybody", "Anybody"),
)
BASELINES: Mapping[ComparisonKind, str] = {
    "split": "Share now, without the change, such as 4%",
    "mean": "Mean now, without the change",
    "rate": "Events per unit now, such as 0.05",
    "count": "How many without the change, over all its weeks",
    "share": "The fixed share it is held against, such as 4%",
}
TARGETS: Mapping[ComparisonKind, str] = {
    "before-after": "Target, of one week",
    "count": "Target, over all its weeks",
}
WEEKS: Mapping[ComparisonKind, tuple[str, str]] = {
    "before-after": (
        "Earlier whole weeks, one a line, the oldest first",
        "Such as 48/1200 (those who did it / people), or a value. Six at least, better eight; without them there is "
        "nothing to compare with.",
    ),
    "count": ("Or: how many in each earlier week, one a line", "Six or more show what is usual."),
}
PEOPLE: Mapping[ComparisonKind, str] = {
    "split": "People a week, both groups together",
    "mean": "People a week, both groups together",
    "rate": "Units a week, both groups together",
    "share": "People a week",
}


def on_the_page(found: Plan | None) -> tuple[Field, ...]:
    """What a plan's page asks of it; percentages may be written with %."""
    old = found.criterion if found else Criterion()
    return (
        Field("baseline", "Baseline (4%, or a number)", required=False, most=20, hint=LATER,
              initial=typed_level(old, old.baseline)),
        Field("target", "Target", required=False, most=20, hint=LATER, initial=typed_level(old, old.target)),
        Field("weekly", "People a week, both groups together", required=False, most=20, hint=LATER,
              initial=typed(old.weekly)),
        Field("counted", "Who is counted?", required=False, most=300, hint=LATER, initial=old.counted),
        Field("stop_line", "We stop early if ..", required=False, most=300, hint=LATER, initial=old.stop_line),
        Field("harm", "One harm measure: what must not get worse?", required=False, most=300, hint=LATER,
              initial=old.harm),
    )  # fmt: skip


def of_any_kind() -> tuple[Field, ...]:
    """For a trial of which only whoever enters it knows the kind: all that some kind needs, on one form."""
    label, hint = WEEKS["before-after"]
    old, numbers = Criterion(), ("baseline", "target", "weekly")
    return (
        Field("measure", "Success measure, with its unit", required=False, most=200),
        Field("kind", "How is it measured?", "choice", required=False, options=KINDS, initial="split"),
        *(replace(field, hint="") for field in on_the_page(None) if field.name in numbers),
        _figure("spread", "Of a mean: standard deviation from head to head", None),
        Field("baseline_weeks", label, "long", required=False, most=2000, hint=hint),
        _planned_share(old),
        *_people(old),
        *_guards(old),
    )


def kind_shown(round_: Round, plan: PlanId, parts: Sequence[str]) -> ComparisonKind:
    """The kind of measure that a form is for: the one that its value names, else that of the plan."""
    named = (KIND_BY_NAME[part] for part in parts[1:] if part in KIND_BY_NAME)
    return next(named, round_.plans[plan].criterion.kind)


def criterion(
    round_: Round,
    plan_id: PlanId,
    kind: ComparisonKind | None = None,
    typed: Mapping[str, str] | None = None,
) -> Form:
    """The form of the criterion's kind, or of another one, with what was typed into the form before."""
    found = round_.plans[plan_id]
    shown = kind or found.criterion.kind
    checked = Field("checked_by", "Who checked what it touches?", required=False, most=100, initial=found.checked_by)
    fields = (*_measure(found.criterion, shown), *_guards(found.criterion), checked)
    value = about(round_, plan_id) if kind is None else about(round_, plan_id, kind)
    intro = line("It is frozen at the commitment: {t}", t=theirs(found.title, 80))
    return Form("Criterion", "criterion.write", value, tuple(_kept(f, typed or {}) for f in fields), intro=intro)


def _kept(field: Field, typed: Mapping[str, str]) -> Field:
    """As it was typed; weeks of one kind are no weeks of another."""
    taken = field.name in typed and field.name not in ("kind", "baseline_weeks")
    return replace(field, initial=typed[field.name]) if taken else field


def _measure(old: Criterion, kind: ComparisonKind) -> list[Field]:
    hint = "Another one brings its own form; what you typed is kept."
    fields = [
        Field("kind", "How is it measured?", "choice", options=KINDS, initial=kind, hint=hint),
        Field("measure", "Success measure, with its unit", most=200, initial=old.measure),
    ]
    if kind in BASELINES:
        fields.append(_level("baseline", BASELINES[kind], old, old.baseline))
    if kind in WEEKS:
        label, hint = WEEKS[kind]
        known = _weeks(old) if old.kind == kind else ""
        fields.append(Field("baseline_weeks", label, "long", required=False, most=2000, hint=hint, initial=known))
    fields.append(Field("source", "Where is that known from?", required=False, most=200, initial=old.source,
                        hint="Such as the shop's dashboard, March."))  # fmt: skip
    fields.append(_level("target", TARGETS.get(kind, "Target"), old, old.target))
    if kind == "mean":
        fields.append(_figure("spread", "Standard deviation from head to head", old.spread))
    if kind in WITH_PEOPLE:
        fields.append(_figure("weekly", PEOPLE[kind], old.weekly))
    if kind in TWO_GROUPS:
        fields.append(_planned_share(old))
    return [*fields, *_people(old)]


def _planned_share(old: Criterion) -> Field:
    initial = f"{100 * old.planned_share:g}%"
    label, hint = "How many of them get the change?", "Half and half is 50%."
    return Field("planned_share", label, required=False, most=20, hint=hint, initial=initial)


def _people(old: Criterion) -> tuple[Field, ...]:
    return (
        Field("counted", "Who is counted?", required=False, most=300, initial=old.counted),
        Field("population", "Who can that be?", "choice", required=False, options=POPULATIONS, initial=old.population,
              hint="Two trials on the same people at the same time cannot be told apart."),
        Field("lag", "Days until a week's people can be counted", required=False, most=3, initial=str(old.lag),
              hint="0 if they are known when the week is over."),
    )  # fmt: skip


def _guards(old: Criterion) -> tuple[Field, ...]:
    return (
        Field("harm", "One harm measure: what must not get worse?", required=False, most=300, initial=old.harm),
        *limit(old),
        _level("stop_at", "We stop early at this value of the measure, or worse", old, old.stop_at),
        Field("stop_line", "Or in words: we stop early if ..", required=False, most=300, initial=old.stop_line),
    )


def limit(old: Criterion) -> tuple[Field, ...]:
    """From which value on it is harm."""
    return (
        _figure("harm_usual", "The harm measure in a usual week", old.harm_usual),
        _figure("harm_limit", "Its limit: beyond it you, facilitator and decision-maker are told", old.harm_limit),
    )


def _figure(name: str, label: str, value: float | None) -> Field:
    return Field(name, label, required=False, most=20, initial=typed(value))


def _level(name: str, label: str, old: Criterion, value: float | None) -> Field:
    return Field(name, label, required=False, most=20, initial=typed_level(old, value))


def _weeks(old: Criterion) -> str:
    return "\n".join(typed(a) if b == 1 else f"{typed(a)}/{typed(b)}" for a, b in old.baseline_weeks)
