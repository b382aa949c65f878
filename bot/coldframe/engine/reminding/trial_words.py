"""Private words about trials that have come due: to the one person who can act, in their own working hours. What cannot
be said now moves to the next moment when it may."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from datetime import timedelta

from coldframe.domain.names import MemberId
from coldframe.domain.trial import building
from coldframe.domain.trial.state import UNDER_WAY, Trial, TrialStep
from coldframe.engine.core import allowance, endings, lives, trial_turn
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.reminding import bundle
from coldframe.engine.trial.schedule import WORD, Word, moments_of, word_later
from coldframe.message.nodes import Message
from coldframe.ports.storage import Due
from coldframe.speech.trial import building_words, owner_words, review_words, trial_words

A_WEEK = timedelta(weeks=1)
Said = Callable[[Turn, Trial, str], Awaitable[Message]]
"""What is said: (turn, trial, the week, person or number it is about)."""
OF_THE_FACILITATOR = ("unowned", "unanswered", "late", "close")
Needed = Callable[[Turn, Trial, Word], Awaitable[bool]]


async def carry_out(turn: Turn, due: Due) -> None:
    """A word's moment has come: say it if it is still needed and may be said now; else move or drop it."""
    word = Word.unpack(due.occurrence)
    trial = await turn.uow.trial(due.subject)
    if trial is not None and word.person not in trial.people:
        _pass_on(turn, trial, word, due)
    elif trial is None or not await _needed(turn, trial, word):
        await turn.uow.count("reminders dropped")
    elif word.what == "tell":
        _tell_of_missed_weeks(turn, trial, word.key)
    else:
        await _say_or_move(turn, trial, word, due)


def _pass_on(turn: Turn, trial: Trial, word: Word, due: Due) -> None:
    """Whoever has left hears no more; what waits for a decision goes to whoever facilitates now."""
    if word.what in OF_THE_FACILITATOR and trial.facilitator in trial.people:
        word_later(turn, trial, trial.facilitator, word.what, word.key, due.at)


async def _say_or_move(turn: Turn, trial: Trial, word: Word, due: Due) -> None:
    at = await allowance.when(turn, trial.tenant, word.person)
    if at is None:
        await turn.uow.count("reminders dropped")
    elif at > turn.now:
        turn.later(WORD, due.subject, due.occurrence, at)
    elif word.what in SAID:
        await _say(turn, trial, word)
    else:
        await _remind(turn, trial, word)


def _tell_of_missed_weeks(turn: Turn, trial: Trial, week: str) -> None:
    """The owner is left in peace; the deputy and the facilitator hear of it, each when they may be spoken to."""
    for person in {trial.facilitator, trial.deputy} - {None, trial.owner}:
        assert person is not None
        word_later(turn, trial, person, "missed", week, turn.now)


async def _remind(turn: Turn, trial: Trial, word: Word) -> None:
    if await _was_just_told(turn, trial.tenant, word.person):
        await turn.uow.count("reminders dropped")  # the message of a moment ago held everything that was due
    else:
        await bundle.send_bundle(turn, trial.tenant, word.person, about=(trial.id, *word.about()))


async def _was_just_told(turn: Turn, tenant: str, person: str) -> bool:
    return bool(await turn.uow.nudges_since(tenant, person, turn.now - allowance.APART))


async def _say(turn: Turn, trial: Trial, word: Word) -> None:
    person = MemberId(word.person)
    await endings.end_earlier(turn, trial.tenant, person, trial.id, word.what)
    words = await SAID[word.what](turn, trial, word.key)
    trial_turn.tell(turn, trial, person, word.what, words, word.key, turn.kit.ids.new(""))
    await turn.uow.note_nudge(trial.tenant, person, turn.now)
    to_facilitator = word.what == "late" and person == trial.facilitator
    if to_facilitator or word.what == "unowned":  # once, then weekly until it is settled
        word_later(turn, trial, person, word.what, word.key, turn.now + A_WEEK)


# --- whether it is still needed -------------------------------------------------------------------------------------


async def _needed(turn: Turn, trial: Trial, word: Word) -> bool:
    if trial.step is TrialStep.PROPOSED:
        return word.what == "unanswered" and trial.asked == word.key
    return trial.step in UNDER_WAY and word.what in NEEDED and await NEEDED[word.what](turn, trial, word)


async def _week_is_missing(turn: Turn, trial: Trial, word: Word) -> bool:
    return trial.owner == word.person and int(word.key) in trial.unlogged(await trial_turn.today(turn, trial))


async def _is_not_live(turn: Turn, trial: Trial, word: Word) -> bool:
    expected, today = trial.live_expected(), await trial_turn.today(turn, trial)
    return lives.is_open(trial, word.person, lives.LIVE) and expected is not None and expected <= today


async def _is_late(turn: Turn, trial: Trial, word: Word) -> bool:
    return building.is_late(trial, await trial_turn.today(turn, trial)) and word.key == str(trial.live_agreed())


async def _two_weeks_are_missing(turn: Turn, trial: Trial, word: Word) -> bool:
    """Told once, at the second of a row; the digest names all of them."""
    week, missing = int(word.key), trial.unlogged(await trial_turn.today(turn, trial))
    return {week, week - 1} <= set(missing) and week - 2 not in missing


async def _action_is_open(turn: Turn, trial: Trial, word: Word) -> bool:
    return any(a.id == word.key and a.who == word.person for a in trial.open_actions())


async def _has_no_owner(turn: Turn, trial: Trial, word: Word) -> bool:
    return trial.owner is None


async def _is_asked(turn: Turn, trial: Trial, word: Word) -> bool:
    return trial.asked == word.key


async def _is_before_review(turn: Turn, trial: Trial, word: Word) -> bool:
    return trial.step is TrialStep.RUNNING and trial.owner == word.person


async def _is_in_review(turn: Turn, trial: Trial, word: Word) -> bool:
    return trial.step is TrialStep.IN_REVIEW


NEEDED: Mapping[str, Needed] = {
    "live": _is_not_live,
    "late": _is_late,
    "week": _week_is_missing,
    "tell": _two_weeks_are_missing,
    "missed": _two_weeks_are_missing,
    "action": _action_is_open,
    "unowned": _has_no_owner,
    "unanswered": _is_asked,
    "brief": _is_before_review,
    "close": _is_in_review,
}


# --- what is said ---------------------------------------------------------------------------------------------------


async def _missed(turn: Turn, trial: Trial, week: str) -> Message:
    return owner_words.weeks_missed(trial, (int(week) - 1, int(week)))


async def _late(turn: Turn, trial: Trial, key: str) -> Message:
    return building_words.late(trial)


async def _unowned(turn: Turn, trial: Trial, key: str) -> Message:
    return owner_words.unowned(trial)


async def _unanswered(turn: Turn, trial: Trial, person: str) -> Message:
    return owner_words.unanswered(trial.title, trial_words.who(trial, MemberId(person)))


async def _brief(turn: Turn, trial: Trial, key: str) -> Message:
    """With the weeks that are missing, but for those that a reminder of this moment asks for."""
    missing = trial.unlogged(await trial_turn.today(turn, trial))
    if trial.owner is not None and await _was_just_told(turn, trial.tenant, trial.owner):
        words = await moments_of(turn, trial, trial.owner)
        asked = {word.key for word, at in words if turn.now - allowance.APART <= at <= turn.now}
        missing = tuple(week for week in missing if str(week) not in asked)
    return review_words.brief_for_owner(trial, missing)


async def _close(turn: Turn, trial: Trial, key: str) -> Message:
    return review_words.to_close(trial)


SAID: Mapping[str, Said] = {
    "missed": _missed,
    "late": _late,
    "unowned": _unowned,
    "unanswered": _unanswered,
    "brief": _brief,
    "close": _close,
}
DUE: Mapping[str, Carry] = {WORD: InOneTurn(carry_out)}
