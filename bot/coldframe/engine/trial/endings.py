"""Messages about a trial whose time is over: a week is logged, an action done, the review closed."""

from __future__ import annotations

from coldframe.domain.trial import guarding
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import endings, lives, trial_turn
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import leftovers
from coldframe.engine.trial import weekly
from coldframe.ports.storage import Posted
from coldframe.speech.trial import guard_words, review_words, trial_words

Over = tuple[Posted, lives.Life[Trial]]


async def follow(turn: Turn, before: Trial, after: Trial) -> None:
    """Looks at the lives of its messages after every change that one of them may wait for."""
    if _around(before) == _around(after):
        return
    found = await turn.uow.open_posts(after.tenant, after.round_id, after.people)
    own = [(p, _life(p)) for p in found if lives.named(p.name).owner == after.id]
    over = [(p, life) for p, life in own if life and not life.lasts(after, lives.named(p.name).rest)]
    await endings.end(turn, await _ended(turn, after, over))
    await leftovers.follow(turn, after.tenant, after.team, found)


def _around(trial: Trial) -> tuple[object, ...]:
    """What messages last for."""
    said = trial.in_the_way, tuple(trial.weeks), trial.open_actions(), trial.asked_to_sign
    return trial.step, trial.owner, trial.asked, trial.live_agreed(), guarding.undecided(trial), *said


def _life(posted: Posted) -> lives.Life[Trial] | None:
    table = lives.TEAM_OF_TRIAL if posted.place.kind == "channel" else lives.TRIAL
    return table.get(lives.named(posted.name).what)


async def _ended(turn: Turn, trial: Trial, over: list[Over]) -> list[Ending]:
    found: list[Ending] = []
    for posted, life in over:
        if life.end is lives.End.GONE:
            found.append(endings.taken_back(posted))
        elif life.end is lives.End.LINE:
            crossed = lives.named(posted.name).what == lives.CROSSED
            words = guard_words.settled(trial) if crossed else trial_words.over(trial)
            found.append(Ending(posted, life.end, words))
        elif _is_verdict(posted):
            turn.later(weekly.PLAIN, trial.id, posted.name, turn.now)
        else:
            words = review_words.brief(trial, await trial_turn.today(turn, trial))
            found.append(Ending(posted, life.end, words))
    return found


def _is_verdict(posted: Posted) -> bool:
    """Its numbers are reckoned anew, outside of the transaction."""
    return lives.named(posted.name).what == "verdict" and not lives.is_file(posted.name)
