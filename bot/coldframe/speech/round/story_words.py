"""What a round has brought since one of its steps, in a line for each: for whoever was away, and whoever is new."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from coldframe.domain.names import ForceId, PlanId, Role, Step
from coldframe.domain.state import Choice, Round, Standing
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Line, When, line
from coldframe.speech.names import NO_REASON, count

SOME = 3  # named of many
LONG = 90  # characters of a text that is named


def happened(round_: Round, since: Step) -> list[Line]:
    """What came of the steps that closed since, apart from what somebody decided."""
    return _said(round_, since, _HAPPENED)


def decided(round_: Round, since: Step) -> list[Line]:
    """What was decided for all since."""
    ended = round_.step is Step.CANCELLED and since is not Step.CANCELLED
    because = theirs(round_.ended_because or NO_REASON, LONG)
    off = [line("It ended without a commitment: {why}.", why=because)] if ended else []
    return _said(round_, since, _DECIDED) + off


def so_far(round_: Round) -> list[Line]:
    """All of it from the beginning, in the order of the steps."""
    return _said(round_, Step.NOTES, {**_HAPPENED, **_DECIDED})


def _said(round_: Round, since: Step, words: Mapping[Step, Callable[[Round], Line]]) -> list[Line]:
    """A cancelled round has gone through those steps that left something."""
    order, now = list(Step), Step.COMMITTED if round_.step is Step.CANCELLED else round_.step
    over = [s for s in order if order.index(since) <= order.index(s) < order.index(now) and s not in round_.passed]
    return [said for step in over if step in words and (said := words[step](round_))]


def _notes(round_: Round) -> Line:
    if not round_.revealed:
        return ()
    by = count(round_.writers, "person", "people")
    return line("{n} by {w}, unsigned.", n=count(len(round_.revealed), "note"), w=by)


def _focus(round_: Round) -> Line:
    if round_.focus is None:
        return ()
    return line(
        "{who} picked *{lever}* to work on: {why}",
        who=theirs(round_.acting_name(Role.DECISION_MAKER), 40),
        lever=theirs(round_.settings.lever_name(round_.focus), 60),
        why=theirs(round_.focus_reason, LONG),
    )


def _dots(round_: Round) -> Line:
    first = [s for s in round_.forces_standing if s.carried][:SOME]
    if not first:
        return ()
    named = [round_.force_text(ForceId(s.option)) for s in first]
    return line("What holds us back most: {f}.", f=_quoted(named))


def _questions(round_: Round) -> Line:
    if not round_.questions:
        return ()
    named = _quoted([q.text for q in round_.questions[:SOME]])
    return line("{n} to answer: {q}", n=count(len(round_.questions), "question"), q=named)


def _precedents(round_: Round) -> Line:
    number = len(round_.precedents)
    return line("{n} from elsewhere, in the questions' threads.", n=count(number, "precedent")) if number else ()


def _plans(round_: Round) -> Line:
    number = len(round_.plan_order)
    return line("{n} to read in the channel.", n=count(number, "plan")) if number else ()


def _ballot(round_: Round) -> Line:
    first = [s for s in round_.plans_standing if s.place == 1]
    return line("First in the ballot: {p}.", p=_quoted(_titles(round_, first))) if first else ()


def _titles(round_: Round, standing: list[Standing]) -> list[str]:
    return [round_.plans[PlanId(s.option)].title for s in standing[:SOME]]


def _commitment(round_: Round) -> Line:
    chosen = [_chosen(round_, plan, choice) for plan, choice in round_.told_choices().items()]
    return line("To be tried: {t}.", t=theirs("; ".join(chosen), 3 * LONG)) + _next(round_) if chosen else ()


def _chosen(round_: Round, plan: PlanId, choice: Choice) -> str:
    title = theirs(round_.plans[plan].title, LONG).text
    return f"“{title}”, owned by {round_.name_of(choice.owner)}" if choice.owner else f"“{title}”"


def _next(round_: Round) -> Line:
    return line(" The next round starts {d}.", d=When(round_.next_round, "day")) if round_.next_round else ()


def _quoted(texts: list[str]) -> Line:
    found: Line = ()
    for number, text in enumerate(texts):
        found += line("{c}“{t}”", c=", " if number else "", t=theirs(text, LONG))
    return found


_HAPPENED: Mapping[Step, Callable[[Round], Line]] = {
    Step.NOTES: _notes, Step.DOTS: _dots, Step.PRECEDENTS: _precedents, Step.PLANS: _plans, Step.BALLOT: _ballot,
}  # fmt: skip
_DECIDED: Mapping[Step, Callable[[Round], Line]] = {
    Step.FOCUS: _focus, Step.QUESTIONS: _questions, Step.COMMITMENT: _commitment,
}  # fmt: skip
