"""A scenario: a team, what each of its people writes and how they vote. The form of the YAML files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, time
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field
from rapidfuzz import process

from coldframe.domain.names import RUNNING
from coldframe.errors import ColdframeError
from coldframe.timing.calendars import WorkingCalendar
from coldframe.yaml_files import Key, NotYaml, Path, WrongFile, form_of, read

WHOLE = "must hold the fields of a scenario, such as title and team; `--schema` prints them all"
FIRST_YEAR, LAST_YEAR = 2000, 2100  # what zone and holiday data reach
Said = Annotated[str, Field(min_length=1, max_length=300)]
Length = Annotated[float, Field(gt=0, le=400)]


class Part(BaseModel):
    """Nothing unknown is taken in silence."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Away(Part):
    first: date
    last: date


class Person(Part):
    """A member of the team. `share` is how much of a window they need; `silent` ones never answer."""

    id: Key
    name: str = Field(min_length=1, max_length=60)
    zone: str = "UTC"
    country: str | None = None
    subdivision: str | None = None
    days: list[int] = Field(default=[0, 1, 2, 3, 4], description="working days, Monday is 0")
    hours: list[tuple[str, str]] = Field(default=[("09:00", "17:00")], description="spans such as ['09:00', '17:00']")
    share: float = Field(default=0.4, gt=0, le=2)
    votes_by: Literal["emoji", "button"] = "emoji"
    silent: bool = False
    away: list[Away] = []


class Note(Part):
    """`way`: in the thread of the lever's prompt, as a plain direct message, or by the form."""

    by: Key
    lever: str
    side: Literal["driving", "restraining"]
    text: str
    key: Key | None = None
    way: Literal["thread", "plain", "form"] = "thread"
    late: bool = False


class Focus(Part):
    lever: str
    reason: str


class Question(Part):
    about: Key = Field(description="key of the note whose force it turns round")
    text: str


class Precedent(Part):
    by: Key
    question: int = Field(ge=1, description="number of the question, from 1")
    title: str
    idea: str
    details: str = ""
    source: str = ""
    outside: bool = False


class Measure(Part):
    """What the plan's criterion needs; rates as fractions or with %."""

    name: str
    kind: Literal["split", "before-after", "count", "mean"] = "split"
    baseline: str = ""
    target: str = ""
    weekly: str = ""
    counted: str = ""
    stop_line: str = ""
    harm: str = ""
    harm_usual: str = Field(default="", description="the harm measure in a usual week, which the owner writes down")
    harm_limit: str = ""
    lag: int = Field(default=0, ge=0, le=28, description="days until a week's people can be counted")
    weeks_before: list[str] = Field(default=[], description="earlier weeks as '10/50', which their owner writes down")


class Plan(Part):
    by: Key
    key: Key
    question: int = Field(ge=1)
    title: str = Field(max_length=75)
    hypothesis: str
    steps: list[str] = Field(min_length=1, max_length=12)
    measure: Measure
    weeks: int = Field(default=4, ge=3, le=6)
    checked_by: str = ""
    might_fail: str = ""
    chance: int | None = Field(default=None, ge=0, le=100)
    borrows: str = Field(default="", description="title of the precedent whose idea it takes over")
    impact: float = Field(default=0, description="true impact, by which the demo's people compare")
    effort: float = Field(default=0, description="true effort, by which the demo's people compare")


class Owner(Part):
    """Who is asked, in this order; those in `declines` say no with the reason given."""

    plan: Key
    asked: list[Key] = Field(min_length=1)
    declines: dict[str, str] = {}
    actions: list[str] = Field(default=[], description="lines such as 'Write the mail | in 2 working days'")
    live: str = Field(default="in 2 working days", max_length=60, description="the day on which it should be live")


class PlanFate(Part):
    """What becomes of a plan that is not tried."""

    plan: Key
    fate: Literal["project", "errand", "kept", "dropped"] = "kept"
    who: str = Field(default="", description="a line such as 'Priya | in 4 weeks | the web team's board'")
    why: str = ""


class Commitment(Part):
    owners: list[Owner] = Field(min_length=1, max_length=2)
    fates: list[PlanFate] = Field(default=[], description="of plans that are not tried; the others are kept")
    next_round: str = "in 7 weeks"
    forecasts: dict[str, int] = {}


class Trial(Part):
    """What happens in a trial: a line of numbers for each week, as the owner would type it; then the review."""

    plan: Key
    weeks: list[str] = []
    late: str = Field(default="", description="the owner's first answer whether it is live: no, but then")
    late_because: str = Field(default="", max_length=300)
    goes_on: str = Field(default="", description="why the decision-maker lets it go on when a harm limit is crossed")
    learning: str = ""
    decision: Literal["scale", "change", "stop"] = "change"
    reason: str = ""
    what: str = Field(default="", description="what exactly is scaled, stays, or is switched off")
    until: str = "in 4 weeks"
    learnt: dict[str, str] = Field(default={}, description="person -> what they learnt, written in private")
    hand_over_to: Key | None = Field(default=None, description="the owner hands over after the first week")
    starts_late: Key | None = Field(default=None, description="owner, when it starts once a place is free")


class Moment(Part):
    """Something beside the rule: a text, a command, somebody leaving, hours of their own after a step has opened."""

    step: str
    after: float = Field(default=1, ge=0)
    by: Key
    do: Literal["say", "command", "leave", "say in channel"]
    text: str = ""


class Roles(Part):
    facilitator: Key
    decision_maker: Key
    facilitator_deputy: Key
    decision_deputy: Key


class Scenario(Part):
    title: Said
    seed: int = Field(default=1, ge=0)
    start: datetime
    name: str = Field(min_length=1, max_length=40, description="the round's short name")
    question: Said
    levers: list[Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^,]*$")]] = Field(
        default=["Acquisition", "Activation", "Retention"], min_length=1, max_length=6
    )
    pace: Literal["days", "live"] = "days"
    takes_breaks: bool = Field(default=False, description="the facilitator takes each break that is proposed")
    lengths: dict[str, Length] = Field(default={}, description="step -> working hours, or minutes in `live` pace")
    weight: int = Field(default=2, ge=1, le=10)
    carry_on: int = Field(default=5, ge=1, le=10)
    roles: Roles
    team: list[Person] = Field(min_length=1, max_length=60)
    notes: list[Note] = []
    focus: Focus | None = None
    same: list[list[Key]] = Field(default=[], description="keys of notes that say the same")
    dots: dict[str, list[Key]] = Field(default={}, description="person -> keys of notes, one for each dot")
    questions: list[Question] = []
    precedents: list[Precedent] = []
    jottings: dict[str, str] = Field(default={}, description="what strikes somebody while they read precedents")
    plans: list[Plan] = []
    ballot: dict[str, list[Key]] = Field(default={}, description="person -> keys of plans, one for each vote")
    commitment: Commitment | None = None
    trials: list[Trial] = []
    too_many: Key | None = Field(default=None, description="a third plan that the decision-maker tries to choose")
    again: bool = Field(default=False, description="start the next round on its date")
    when_stuck: Literal["extend", "close", "cancel", "wait"] = "close"
    moments: list[Moment] = []
    weeks_after: float = Field(default=1, ge=0, le=30, description="weeks after the end of the round")


class WrongScenario(ColdframeError, ValueError):
    """The file cannot be played; one sentence for each thing that is wrong, with its line."""

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


def load(text: str) -> Scenario:
    """Reads and checks a scenario. Raises WrongScenario with line, field and the right form."""
    try:
        sheet = read(text)
        scenario = form_of(sheet, Scenario, WHOLE)
    except NotYaml as error:
        raise WrongScenario([str(error)]) from None
    except WrongFile as wrong:
        raise WrongScenario(wrong.problems) from None
    if problems := [sheet.problem(path, words) for path, words in _names(scenario)]:
        raise WrongScenario(problems)
    return scenario


def _nearest(word: str, known: Iterable[str]) -> str:
    options = list(known)
    match = process.extractOne(word, options, score_cutoff=55)
    if match:
        return f"; did you mean “{match[0]}”?"
    return f"; known are: {', '.join(options[:12])}" if options else ""


# --- names that must exist ---


def _names(scenario: Scenario) -> Iterator[tuple[Path, str]]:
    """Every reference to a person, lever, note, plan or step that is not there, with the nearest right word."""
    people = [p.id for p in scenario.team]
    notes = [n.key for n in scenario.notes if n.key]
    plans = [p.key for p in scenario.plans]
    yield from _twice(("team",), people, "person")
    yield from _twice(("notes",), notes, "key")
    yield from _twice(("plans",), plans, "key")
    yield from _twice(("levers",), [lever.strip().casefold() for lever in scenario.levers], "lever")
    for path, word, known, what in _references(scenario, people, notes, plans):
        if word not in known:
            yield path, f"no {what} “{word}”{_nearest(word, known)}"
    for index, precedent in enumerate(scenario.precedents):
        if precedent.question > len(scenario.questions):
            yield ("precedents", index, "question"), _only(len(scenario.questions))
    for index, plan in enumerate(scenario.plans):
        if plan.question > len(scenario.questions):
            yield ("plans", index, "question"), _only(len(scenario.questions))
    yield from _calendars(scenario)
    if scenario.start.tzinfo is None:
        yield ("start",), "needs a zone, such as 2026-03-23T08:00:00+00:00"
    if not FIRST_YEAR <= scenario.start.year <= LAST_YEAR:
        yield ("start",), f"the year must lie between {FIRST_YEAR} and {LAST_YEAR}"


def _only(questions: int) -> str:
    return f"there {'is 1 question' if questions == 1 else f'are {questions} questions'} in the file, counted from 1"


def _twice(path: Path, words: list[str], what: str) -> Iterator[tuple[Path, str]]:
    for word in sorted({w for w in words if words.count(w) > 1}):
        yield path, f"the {what} “{word}” is there twice"


Reference = tuple[Path, str, list[str], str]


def _references(scenario: Scenario, people: list[str], notes: list[str], plans: list[str]) -> Iterator[Reference]:
    steps = [s.value for s in RUNNING]
    for role, who in scenario.roles.model_dump().items():
        yield ("roles", role), who, people, "person"
    for index, note in enumerate(scenario.notes):
        yield ("notes", index, "by"), note.by, people, "person"
        yield ("notes", index, "lever"), note.lever, scenario.levers, "lever"
    if scenario.focus:
        yield ("focus", "lever"), scenario.focus.lever, scenario.levers, "lever"
    yield from _votes(("dots",), scenario.dots, people, notes, "note")
    yield from _votes(("ballot",), scenario.ballot, people, plans, "plan")
    for index, group in enumerate(scenario.same):
        yield from (((("same", index, n)), key, notes, "note") for n, key in enumerate(group))
    for index, question in enumerate(scenario.questions):
        yield ("questions", index, "about"), question.about, notes, "note"
    for field, things in (
        ("precedents", scenario.precedents),
        ("plans", scenario.plans),
        ("moments", scenario.moments),
    ):
        yield from (((field, index, "by"), thing.by, people, "person") for index, thing in enumerate(things))  # type: ignore[attr-defined]
    for index, moment in enumerate(scenario.moments):
        yield ("moments", index, "step"), moment.step, steps, "step"
    for step in scenario.lengths:
        yield ("lengths", step), step, steps, "step"
    yield from ((("jottings", who), who, people, "person") for who in scenario.jottings)
    titles = [precedent.title for precedent in scenario.precedents]
    for index, plan in enumerate(scenario.plans):
        if plan.borrows:
            yield ("plans", index, "borrows"), plan.borrows, titles, "precedent"
    yield from _trial_references(scenario, people, plans)


def _trial_references(scenario: Scenario, people: list[str], plans: list[str]) -> Iterator[Reference]:
    for index, trial in enumerate(scenario.trials):
        yield ("trials", index, "plan"), trial.plan, plans, "plan"
        for field in ("hand_over_to", "starts_late"):
            if getattr(trial, field) is not None:
                yield ("trials", index, field), getattr(trial, field), people, "person"
        yield from ((("trials", index, "learnt", who), who, people, "person") for who in trial.learnt)
    if scenario.too_many is not None:
        yield ("too_many",), scenario.too_many, plans, "plan"
    for index, fate in enumerate(scenario.commitment.fates if scenario.commitment else []):
        yield ("commitment", "fates", index, "plan"), fate.plan, plans, "plan"
    for index, owner in enumerate(scenario.commitment.owners if scenario.commitment else []):
        path: Path = ("commitment", "owners", index)
        yield (*path, "plan"), owner.plan, plans, "plan"
        yield from (((*path, "asked", n), who, people, "person") for n, who in enumerate(owner.asked))
        yield from (((*path, "declines", who), who, people, "person") for who in owner.declines)


def _votes(
    path: Path, votes: Mapping[str, list[str]], people: list[str], options: list[str], what: str
) -> Iterator[Reference]:
    for who, chosen in votes.items():
        yield (*path, who), who, people, "person"
        for index, key in enumerate(chosen):
            yield (*path, who, index), key, options, what


def _calendars(scenario: Scenario) -> Iterator[tuple[Path, str]]:
    for index, person in enumerate(scenario.team):
        try:
            calendar_of(person)
        except ValueError as error:
            yield ("team", index), str(error)


def _time(words: str) -> time:
    try:
        return time.fromisoformat(words)
    except ValueError:
        raise ValueError(f'hours “{words}” are no time of day; write them like "09:00"') from None


def calendar_of(person: Person) -> WorkingCalendar:
    """The person's working calendar. Raises ValueError that names what is wrong."""
    return WorkingCalendar(
        zone=person.zone,
        days=frozenset(person.days),
        hours=tuple((_time(a), _time(b)) for a, b in person.hours),
        country=person.country,
        subdivision=person.subdivision,
        away=tuple((a.first, a.last) for a in person.away),
    )
