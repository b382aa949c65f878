"""A scenario with other people in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any

from coldframe.players.scenario import Scenario, load
from coldframe.ports.chat import Person


@cache
def any_question() -> Scenario:
    """What a team says to whatever is asked."""
    return load(resources.files("coldframe.players").joinpath("scenarios", "any-question.yaml").read_text("utf-8"))


def recast(scenario: Scenario, team: Sequence[Person]) -> Scenario:
    """The same with these people in their order: the first one leads. Of a smaller team somebody says what several say,
    of a larger one the last vote like the first. Whoever would be their own deputy has the next of the team for it."""
    if [one.id for one in scenario.team] == [one.id for one in team]:
        return scenario
    roles = {one.id: team[at % len(team)] for at, one in enumerate(scenario.team)}
    given = _renamed(scenario.model_dump(), {role: who.id for role, who in roles.items()})
    given["roles"] |= _deputies(given["roles"], [one.id for one in team])
    given["team"] = [_member(scenario, at, who) for at, who in enumerate(team)]
    for at in range(len(scenario.team), len(team)):
        for votes in (given["dots"], given["ballot"]):
            if (like := team[at - len(scenario.team)].id) in votes:
                votes[team[at].id] = votes[like]
    names = {one.name: roles[one.id].name for one in scenario.team}
    for fate in given["commitment"]["fates"]:
        who, _, rest = fate["who"].partition(" | ")
        fate["who"] = f"{names.get(who, who)} | {rest}" if rest else fate["who"]
    return Scenario.model_validate(given)


def _deputies(roles: Mapping[str, str], team: Sequence[str]) -> dict[str, str]:
    """Those who stand in for somebody else than themselves: in a small team two roles can fall to one person."""
    pairs = (("facilitator", "facilitator_deputy"), ("decision_maker", "decision_deputy"))
    own = {deputy: roles[role] for role, deputy in pairs if roles[role] == roles[deputy]}
    return {deputy: team[(team.index(who) + 1) % len(team)] for deputy, who in own.items()}


def _member(scenario: Scenario, at: int, who: Person) -> dict[str, Any]:
    like = scenario.team[at % len(scenario.team)]
    return {"id": who.id, "name": who.name, "zone": who.zone or "UTC", "share": like.share, "votes_by": like.votes_by}


def _renamed(value: Any, names: Mapping[str, str]) -> Any:
    """What stands under the name of somebody who is played twice stands there once: nobody votes for two."""
    match value:
        case str():
            return names.get(value, value)
        case list():
            return [_renamed(one, names) for one in value]
        case dict():
            found: dict[str, Any] = {}
            for key, one in value.items():
                found.setdefault(names.get(key, key), _renamed(one, names))
            return found
        case _:
            return value
