"""The web address to which a program sends a trial's numbers: one for each person who may log it, who answers for what
comes there. The same checks as the form's; what came already changes nothing."""

from __future__ import annotations

from dataclasses import replace

from coldframe.domain.names import MemberId
from coldframe.domain.refusals import known
from coldframe.domain.trial.state import Entry, Trial
from coldframe.domain.who_may import Act
from coldframe.engine.core import access, trial_turn
from coldframe.engine.core.requests import Request, TrialRequest, of_trial
from coldframe.engine.core.turn import Turn
from coldframe.engine.reading import week_files
from coldframe.engine.trial import weekly
from coldframe.ports.chat import Counted, Reply
from coldframe.ports.storage import NUMBERS_EDITION
from coldframe.speech.trial import sent_words


async def came_in(request: Request, what: Counted) -> Reply:
    """Week by week: what is right is taken, of what is not it is said why. Raises Refused for whoever may not log."""
    turn, trial = request.turn, await request.turn.trial(what.trial)
    access.to_trial(turn, request.event, trial, Act.LOG)
    today = await trial_turn.today(turn, trial)
    taken, already, wrong = 0, 0, dict[str, str]()
    for number, cells in enumerate(what.weeks, 1):
        row = week_files.read_week(number, cells, trial.criterion.kind)
        if row.entry is not None and _came_before(trial, row.entry):
            already += 1
            continue
        entry = replace(row.entry, sent=True) if row.entry is not None else None
        before = trial
        trial, problem = await weekly.take_row(turn, request.by, before, replace(row, entry=entry), today)
        if problem:
            wrong[cells.get("week", "")[:10] or sent_words.in_place(number)] = problem
        taken, already = taken + (trial != before), already + (trial == before and not problem)
    return Reply(errors=wrong, taken=(taken, already))


def _came_before(trial: Trial, entry: Entry) -> bool:
    """The same numbers and reason, however long ago: a request that is sent again takes no correction back."""
    history = trial.weeks.get(entry.week, ()) if entry.week else trial.early
    return any(each.same_numbers(entry) and each.reason == entry.reason for each in history)


# --- the address ----------------------------------------------------------------------------------------------------


async def show(request: TrialRequest) -> None:
    await _tell(request)


async def renew(request: TrialRequest) -> None:
    """Others for all of this person's trials; those before are nothing any more."""
    await _new_edition(request.turn, request.tenant, request.by)
    await _tell(request, renewed=True)


async def _tell(request: TrialRequest, *, renewed: bool = False) -> None:
    turn, trial, at = request.turn, request.trial, request.turn.kit.numbers_at
    if at is None:
        request.answer(sent_words.nowhere(trial))
        return
    me = await turn.uow.member(request.tenant, request.by)
    found = me.facts.get(NUMBERS_EDITION) if me is not None else None
    edition = str(found) if found else await _new_edition(turn, request.tenant, request.by)
    columns = week_files.COLUMNS[trial.criterion.kind]
    words = sent_words.address(trial, at(trial.tenant, trial.id, request.by, edition), columns, renewed=renewed)
    turn.answer(request.tenant, request.by, words, about=trial)


async def _new_edition(turn: Turn, tenant: str, person: MemberId) -> str:
    me = known(await turn.uow.member(tenant, person))
    edition = turn.kit.ids.new("")
    await turn.uow.save_member(replace(me, facts={**me.facts, NUMBERS_EDITION: edition}))
    return edition


BUTTONS = of_trial({"trial.address": show, "trial.address_new": renew})
