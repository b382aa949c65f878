"""The main scenario with as few or as many people as a round takes, for what must hold at any size."""

from __future__ import annotations

from collections.abc import Iterable

from coldframe.players.scenario import Scenario
from tests.demo.large import NOTES, PEOPLE, large
from tests.demo.runs import scenario

FEWEST = 3
WHY = "We know more of it than the comparisons say."
"""Of few who compare, the matrix may speak against what becomes of a plan, and then it asks why."""


def of(people: int) -> Scenario:
    """With so many people, from three on; of few, what the others would have given is not given."""
    main = scenario("quillmarsh")
    if people == FEWEST:
        return scenario("three-people")
    if people > len(main.team):
        return large(people, NOTES * people // PEOPLE)
    return main if people == len(main.team) else _few(main, people)


def _few(main: Scenario, people: int) -> Scenario:
    """The first of its team; those who have roles are among them."""
    team = main.team[:people]
    here = {person.id for person in team}
    notes = [note for note in main.notes if note.by in here]
    precedents = [precedent for precedent in main.precedents if precedent.by in here]
    told = {precedent.title for precedent in precedents}
    plans = [
        plan if plan.borrows in told else plan.model_copy(update={"borrows": ""})
        for plan in main.plans
        if plan.by in here
    ]
    written = {note.key for note in notes} | {plan.key for plan in plans}

    def given(by_person: dict[str, list[str]]) -> dict[str, list[str]]:
        return {person: _known(keys, written) for person, keys in by_person.items() if person in here}

    assert main.commitment is not None
    owners = [
        owner.model_copy(update={"asked": asked, "declines": {}})
        for owner in main.commitment.owners
        if owner.plan in written and (asked := [person for person in owner.asked if person in here])
    ]
    fates = [fate.model_copy(update={"why": fate.why or WHY}) for fate in main.commitment.fates if fate.plan in written]
    commitment = main.commitment.model_copy(
        update={
            "owners": owners, "fates": fates,
            "forecasts": {person: chance for person, chance in main.commitment.forecasts.items() if person in here},
        }
    )  # fmt: skip
    same = [_known(group, written) for group in main.same]
    return main.model_copy(
        update={
            "team": team, "notes": notes, "plans": plans, "commitment": commitment, "trials": [], "too_many": None,
            "same": [group for group in same if len(group) > 1],
            "dots": given(main.dots), "ballot": given(main.ballot),
            "questions": [question for question in main.questions if question.about in written],
            "precedents": precedents,
            "jottings": {person: text for person, text in main.jottings.items() if person in here},
        }
    )  # fmt: skip


def _known(keys: Iterable[str], written: set[str | None]) -> list[str]:
    return [key for key in keys if key in written]
