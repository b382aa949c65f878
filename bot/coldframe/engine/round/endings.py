"""Messages of a round whose time is over, whatever ended it: a step's close, a hand-over, a rest, a cancel, a person's
leaving. All lives are looked at anew after every such change, those of an earlier release's messages too."""

from __future__ import annotations

from collections.abc import Iterable

from coldframe.domain.names import MemberId, Role, Step
from coldframe.domain.state import Round
from coldframe.engine.core import endings, lives
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import leftovers
from coldframe.engine.round import clearing
from coldframe.engine.round.steps import PLAYS
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName
from coldframe.ports.storage import Posted
from coldframe.speech import answers
from coldframe.speech.names import message_name
from coldframe.speech.round import cards, results, role_words, undoing_words


async def follow(turn: Turn, before: Round, after: Round) -> None:
    """Ends what is over; what is not rests with the round, and comes back with it."""
    if _around(before) == _around(after):
        return
    found = await turn.uow.open_posts(after.tenant, after.id, after.seats)
    own = [p for p in found if lives.named(p.name).owner == after.id and lives.named(p.name).what in lives.ROUND]
    alive = [p for p in own if _lasts(after, p)]
    over = [_ending(after, p) for p in own if p not in alive]
    if before.paused is not after.paused:
        alive, let_go = _again(alive)
        over += [endings.taken_back(p) for p in let_go]
        for posted in alive:
            turn.revise(posted.name, posted.place, cards.resting(after, _reads(after, posted.name)), after.id)
    over += [endings.taken_back(p) for p in found if endings.is_page(p) and p.place.id in after.seats]
    if before.step is not after.step:
        over += [Ending(p, lives.End.LINE, answers.no_round_waits()) for p in found if await _fits_no_round(turn, p)]
    await endings.end(turn, over)
    if before.step not in (Step.SETUP, after.step):
        clearing.after_step(turn, after)
    await leftovers.follow(turn, after.tenant, after.channel, found)


async def _fits_no_round(turn: Turn, posted: Posted) -> bool:
    """Whether it asks about a text, and none of the writer's rounds is at a step that takes one."""
    if lives.named(posted.name).what != lives.WHICH or MessageName.unpack(posted.name).owner == lives.MEANT:
        return False
    heads = await turn.uow.heads(posted.place.tenant, member=posted.place.id)
    return not any(head.step in (Step.NOTES, Step.QUESTIONS) for head in heads)


def _around(round_: Round) -> tuple[object, ...]:
    """What messages last for."""
    asked = [(plan, choice.asked) for plan, choice in round_.choices.items()]
    held = [round_.roles.acting(role) for role in Role]
    late = tuple(round_.late_notes.values())
    offers = (round_.role_offers, round_.open_roles)
    return round_.step, round_.paused, round_.decided(), round_.active(), held, asked, late, *offers


def _lasts(round_: Round, posted: Posted) -> bool:
    name = lives.named(posted.name)
    if not lives.ROUND[name.what].lasts(round_, name.rest):
        return False
    return posted.place.kind == "channel" or lives.with_them(round_, name, posted.place.id)


# --- as they read now -------------------------------------------------------------------------------------------------


def _again(alive: Iterable[Posted]) -> tuple[list[Posted], list[Posted]]:
    """Those that can be said anew, and those that cannot: passing words, which a rest overtakes."""
    said: list[Posted] = []
    let_go: list[Posted] = []
    for posted in alive:
        what = lives.named(posted.name).what
        if lives.rests(what):
            (said if _can_be_read(what) else let_go).append(posted)
    return said, let_go


def _can_be_read(what: str) -> bool:
    return any(what in play.reads for play in PLAYS.values())


def _reads(round_: Round, text: str) -> Message:
    name = MessageName.unpack(text)
    plays = [PLAYS[round_.step]] if round_.step in PLAYS else []
    return next(play.reads[name.what] for play in (*plays, *PLAYS.values()) if name.what in play.reads)(
        round_, name.rest
    )


def whole(round_: Round, text: str) -> Message | None:
    """The message of this name as it reads now, where it is cut into pages elsewhere."""
    name = MessageName.unpack(text)
    reads = PLAYS[round_.step].whole.get(name.what) if round_.step in PLAYS else None
    return cards.resting(round_, reads(round_, name.rest)) if reads is not None else None


def as_it_reads(round_: Round, text: str) -> Message | None:
    """None where the round alone does not tell it."""
    what = lives.named(text).what
    return whole(round_, text) or (cards.resting(round_, _reads(round_, text)) if _can_be_read(what) else None)


async def say_anew(turn: Turn, round_: Round) -> None:
    """Everything of the round that can be said anew, after a note in it was hidden."""
    found = await turn.uow.open_posts(round_.tenant, round_.id, ())
    for posted in found:
        name = lives.named(posted.name)
        if name.owner == round_.id and _can_be_read(name.what) and _lasts(round_, posted):
            turn.revise(posted.name, posted.place, cards.resting(round_, _reads(round_, posted.name)), round_.id)
    for name_, words in _records(round_):
        if await turn.uow.knows_message(name_):
            turn.revise(name_, turn.channel(round_), words, round_.id, record=True)


def _records(round_: Round) -> list[tuple[str, Message]]:
    """What stays of a step that is over and repeats forces."""
    asked = [(message_name(round_.id, "question", q.id), results.question_card(round_, q.id)) for q in round_.questions]
    return [*([(message_name(round_.id, "merged"), results.merged(round_))] if round_.forces else []), *asked]


# --- what they become -------------------------------------------------------------------------------------------------


def _ending(round_: Round, posted: Posted) -> Ending:
    name = lives.named(posted.name)
    end = lives.ROUND[name.what].end
    if end is lives.End.READS:
        return Ending(posted, end, _reads(round_, posted.name))
    if end is lives.End.GONE:
        return endings.taken_back(posted)
    return Ending(posted, end, _line(round_, name, posted))


def _line(round_: Round, name: MessageName, posted: Posted) -> Message:
    if name.what == lives.HOW_ON:
        return role_words.moves(round_)
    if name.what == lives.HELD and name.rest[1] == round_.step:
        return undoing_words.undone(round_) if round_.decided() is None else undoing_words.decided_anew(round_)
    if name.what in lives.OFFERS:
        return role_words.offer_over(round_, Role(name.rest[1]))
    member = MemberId(posted.place.id) if posted.place.kind == "direct" else None
    role = lives.holder(name)
    if role is not None and lives.ROUND[name.what].lasts(round_, name.rest) and member in round_.active():
        return role_words.desk_moved(round_, role)
    return cards.over(round_, _step(name), member)


def _step(name: MessageName) -> Step:
    """The step that the message belongs to."""
    fixed = {"setup": Step.SETUP, "compare": Step.PLACEMENT}
    return fixed.get(name.what) or Step(name.rest[0] if name.what == "card" else name.rest[1])
