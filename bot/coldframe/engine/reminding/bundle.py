"""One message with everything that a person can do now, so that nobody gets a message for each thing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from coldframe.domain.names import MemberId
from coldframe.domain.state import Round
from coldframe.domain.trial.facts import ActionTicked, OwnerChanged, OwnerLost, ReviewClosed, TrialFact, WeekLogged
from coldframe.domain.trial.state import UNDER_WAY, Trial
from coldframe.engine.core import endings, lives, trial_turn
from coldframe.engine.core.allowance import LOOK_BACK
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.reminding import owed
from coldframe.engine.trial.schedule import WORD, moments_of
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.storage import Posted
from coldframe.speech.round import now_words
from coldframe.speech.trial import owner_words
from coldframe.speech.trial.owner_words import SHOWN, Open

BUNDLE_WITHIN = timedelta(hours=2)
STALE = timedelta(hours=12)
"""A reminder that comes later than that, whatever held it up, says what may be true no more."""


async def send_bundle(
    turn: Turn, tenant: str, person: str, *, for_a_round: bool = False, about: tuple[str, ...] = ()
) -> None:
    """Everything open in rounds and trials.

    Of weeks, and for a round's reminder of all that is open in trials, only what has fallen due since the last private
    word, or will soon: whoever was told of a week twice is left in peace about it. `about`: the trial, kind and key
    that the reminder is for.
    """
    waiting = await owed.waiting(turn, tenant, MemberId(person))
    open_ = await owed.in_trials(turn, tenant, person)
    back = LOOK_BACK if for_a_round else LONG_ABSENCE
    due = await _fallen_due(turn, tenant, person, open_, turn.now - back)
    due += [one for one in open_ if not for_a_round and (one.what != WEEK or _about(one) == about)]
    open_ = [one for one in open_ if one in due]
    if not waiting and not open_:
        return
    await endings.end_pages(turn, tenant, person, reminders=not for_a_round)
    _post(turn, tenant, person, _words(turn, MemberId(person), waiting, open_), open_)
    await turn.uow.note_nudge(tenant, person, turn.now)
    await _drop_what_was_said(turn, open_, person)


WEEK = "week"
LONG_ABSENCE = timedelta(weeks=6)
"""Whoever had no word for so long is told of all weeks since."""


def _about(one: Open) -> tuple[str, ...]:
    return one.trial.id, one.what, one.key


def _words(turn: Turn, member: MemberId, waiting: Sequence[tuple[datetime, Round]], open_: Sequence[Open]) -> Message:
    """With the smallest thing to do in each round that waits."""
    steps = [button for _, round_ in waiting for button in now_words.first_steps(round_, member)]
    return owner_words.bundle(owed.lines(waiting, member), open_, turn.now, steps)


def _post(turn: Turn, tenant: str, person: str, message: Message, open_: Sequence[Open]) -> None:
    """About one trial alone it belongs to that trial, so that an answer in its thread does too; about none it shows how
    things stand in rounds."""
    new = turn.kit.ids.new("")
    if len({one.trial.id for one in open_}) == 1:
        trial_turn.tell(turn, open_[0].trial, person, lives.REMINDED, message, *(one.key for one in open_), new)
    else:
        named = (Occurrence((one.trial.id, one.key)).pack() for one in open_[:SHOWN])
        name = MessageName(lives.PEOPLE, lives.REMINDED if open_ else lives.PAGE, (person, *named, new))
        turn.answer(tenant, person, message, name=name.pack())
    turn.holds_until(turn.now + STALE)


# --- what has been done since -----------------------------------------------------------------------------------------


async def follow(turn: Turn, before: Trial, after: Trial, fact: TrialFact) -> None:
    """What was asked of somebody is done, or theirs no more: what reminded them of it says what is left."""
    for posted in await turn.uow.open_posts(after.tenant, None, before.people):
        keys = [key for trial, key in _named(posted) if trial == after.id]
        if any(_is_open(before, posted, key) and not _is_open(after, posted, key) for key in keys):
            await _say_what_is_left(turn, posted)


def _is_open(trial: Trial, posted: Posted, key: str) -> bool:
    return trial.step in UNDER_WAY and lives.is_open(trial, posted.place.id, key)


def _named(posted: Posted) -> list[tuple[str, ...]]:
    """What a reminder is about: (trial, week or action) each. One of an earlier release may not tell."""
    name = lives.named(posted.name)
    if name.what != lives.REMINDED:
        return []
    keys = name.rest[1:-1]
    return [Occurrence.unpack(key).parts if name.owner == lives.PEOPLE else (name.owner, key) for key in keys]


async def _say_what_is_left(turn: Turn, posted: Posted) -> None:
    """About one trial alone it ends with that trial's other messages."""
    tenant, person, named = posted.place.tenant, posted.place.id, _named(posted)
    open_ = [one for one in await owed.in_trials(turn, tenant, person) if (one.trial.id, one.key) in named]
    if open_:
        waiting = await owed.waiting(turn, tenant, MemberId(person))
        turn.revise(posted.name, posted.place, _words(turn, MemberId(person), waiting, open_), posted.round_id)
    elif lives.named(posted.name).owner == lives.PEOPLE:
        await endings.end(turn, [endings.taken_back(posted)])


FOLLOW: Mapping[type[TrialFact], Follow[Trial]] = dict.fromkeys(
    (WeekLogged, ActionTicked, OwnerChanged, OwnerLost, ReviewClosed), follow
)


# --- other words about the same ---------------------------------------------------------------------------------------


async def _fallen_due(turn: Turn, tenant: str, person: str, open_: Sequence[Open], since: datetime) -> list[Open]:
    last = max(await turn.uow.nudges_since(tenant, person, since), default=since)
    return [one for one in open_ if await _falls_due(turn, one, person, last)]


async def _falls_due(turn: Turn, one: Open, person: str, since: datetime) -> bool:
    """Whether a word about this open thing fell due since then, or will fall due soon."""
    moments = await moments_of(turn, one.trial, person)
    about = [at for word, at in moments if word.about() == (one.what, one.key)]
    return any(since < at <= turn.now + BUNDLE_WITHIN for at in about)


async def _drop_what_was_said(turn: Turn, said: Sequence[Open], person: str) -> None:
    """Words about the same things that would come now or soon are in the bundle; missed ones become this one."""
    for trial in {one.trial.id: one.trial for one in said}.values():
        about = {(one.what, one.key) for one in said if one.trial.id == trial.id}
        for word, at in await moments_of(turn, trial, person):
            if at <= turn.now + BUNDLE_WITHIN and word.about() in about:
                await turn.drop_due(trial.id, kind=WORD, occurrence=word.pack())
