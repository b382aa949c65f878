"""Forms that came in: a wrong field is told at the field, and what was typed is never lost."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.refusals import Because, Refused, known
from coldframe.engine.core.requests import Request
from coldframe.engine.core.sent_form import FieldError
from coldframe.ports.chat import Reply, Submitted
from coldframe.speech import handed_back


async def submitted(request: Request, what: Submitted) -> Reply | None:
    """Takes a form. The same form sent twice has its effect once: items carry ids of their own."""
    answer = known(request.uses.forms.get(what.action))
    try:
        return await answer(replace(request, value=what.value, fields=what.fields))
    except FieldError as error:
        return Reply(errors={error.field: error.sentence})


SETTLED = frozenset(
    {Because.NOT_HERE, Because.NOT_LET_IN, Because.FROM_ELSEWHERE}
    | {Because.NOT_A_MEMBER, Because.NOT_FACILITATOR, Because.NOT_DECISION_MAKER, Because.NOT_YOURS, Because.NOT_OWNER}
    | {Because.TOO_LATE, Because.NOT_OPEN_YET, Because.NOT_NOW, Because.ENDED, Because.LOCKED, Because.NOT_ASKED}
    | {Because.UNKNOWN_ITEM, Because.TRIAL_OVER, Because.TRIAL_NOT_STARTED, Because.REVIEW_NOT_DUE}
)
"""Sent once more, such a form would be refused again, whatever is in it."""


def field_of(what: Submitted, refused: Refused) -> str | None:
    """The field beside which a refusal is shown: the one it names, the one that it is about, else the first; None where
    the form can be of no use any more."""
    if refused.code in SETTLED:
        return None
    named = refused.facts.get("field")
    if isinstance(named, str) and named in what.fields:
        return named
    about = {
        Because.REASON_TOO_SHORT: "reason",
        Because.TOO_LONG: "text",
        Because.EMPTY: "text",
        Because.UNREADABLE: "text",
        Because.REVIEW_TOO_EARLY: "date",
        Because.IN_THE_PAST: "date",
        Because.ACTION_TOO_FAR: "actions",
        Because.ACTIONS_MISSING: "actions",
        Because.ALREADY_MERGED: "second",
        Because.DURATION: "weeks",
    }.get(refused.code)
    return about if about in what.fields else next(iter(what.fields), None)


# Fields that are picked from a list, or hold a word or a number: nothing is lost with them.
PICKED = frozenset(
    {"lever", "side", "question", "kind", "weeks", "outside", "member", "owner", "instead", "first", "second", "force"}
    | {"chance", "week", "state", "stop", "decision", "pace", "weight", "decision_maker", "date", "review"}
    | {"step", "facilitator_deputy", "decision_deputy", "dots", "plan_votes", "population", "fate", "since"}
)


def is_picked(field: str) -> bool:
    return handed_back.kind_of(field) in PICKED


def typed(what: Submitted) -> bool:
    """Whether somebody wrote something into the form that would be lost with it."""
    return any(text.strip() for name, text in what.fields.items() if not is_picked(name))
