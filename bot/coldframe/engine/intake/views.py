"""How all stands for one person, for a platform that shows it beside the talk.

Nothing is decided and no sentence is made here: a sheet is the one that the bot has sent, as it reads now; and nothing
is written, so that it may be asked for as often as something changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from coldframe.domain.names import RUNNING, MemberId, Step
from coldframe.domain.refusals import Refused
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import access, lives, lookups, trial_turn
from coldframe.engine.core.requests import Request
from coldframe.engine.core.turn import Kit, Turn
from coldframe.engine.people import front_page
from coldframe.engine.round import endings
from coldframe.engine.round.beside import beside
from coldframe.engine.round.steps import PLAYS
from coldframe.message.nodes import Message
from coldframe.message.packed import MessageName
from coldframe.ports.bench import Bar, Laid, View
from coldframe.ports.chat import HomeOpened, Inbound, Place
from coldframe.ports.storage import Posted
from coldframe.speech import home_words
from coldframe.speech.names import message_name
from coldframe.speech.round import bench_words, now_words
from coldframe.speech.round.now_words import Seen
from coldframe.speech.trial import bench_words as trial_bench_words
from coldframe.speech.trial import owner_words

_DESKS = frozenset({"ask", "desk"})
_NOT_ON_IT = frozenset({lives.SAID, "option", "prompt", "mine"})
"""Passing answers, lines for emoji, and what earlier releases sent."""
_FIRST = ("ask", "ballot", "desk", "compare")
"""What a step asks comes before whatever else waits."""


async def view(kit: Kit, tenant: str, person: str) -> View:
    """Raises ChatError."""
    return await lookups.asked(kit.chat, lambda told: _view(kit, tenant, person, told))


async def _view(kit: Kit, tenant: str, person: str, told: lookups.Told) -> View:
    now = kit.clock.now()
    event = Inbound("", person, Place(tenant, "direct", person), now, HomeOpened())
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, now, told=told)
        try:
            access.at_the_door(turn, event)
        except (Refused, access.Unheard):
            return View()
        return await _seen_by(Request(uses=front_page.NOTHING, turn=turn, event=event))


async def _seen_by(request: Request) -> View:
    mine = await front_page.gathered(request)
    waiting = await request.turn.uow.open_posts(request.tenant, None, [request.by])
    bars = [await _bar(request, round_, waiting, mine.seen.get(round_.id)) for round_ in mine.rounds]
    laid = [await _laid(request, trial, today, waiting) for trial, today in mine.trials]
    return View(tuple(bars), tuple(laid), home_words.page(mine), len(mine.owed))


# --- rounds -----------------------------------------------------------------------------------------------------------


async def _bar(request: Request, round_: Round, waiting: Sequence[Posted], seen: Seen | None) -> Bar:
    me = request.by
    return Bar(
        round=round_.id,
        channel=round_.channel,
        step=round_.step.value,
        number=RUNNING.index(round_.step) + 1 if round_.step in RUNNING else 0,
        steps=len(RUNNING),
        head=bench_words.head(round_),
        aim=bench_words.aim(round_),
        state=bench_words.state(round_),
        until=round_.progress.due if round_.paused is None else None,
        levers=round_.settings.levers,
        leads=now_words.leading(round_, me, seen) if seen is not None else (),
        before=(*_before(request, round_, waiting), *await _cards(request, round_)),
        beside=(*beside(round_, me), *await _results(request, round_)),
    )


def _before(request: Request, round_: Round, waiting: Sequence[Posted]) -> list[Laid]:
    """What this person has in private about the round and can still do something with. What the running step asks lies
    here before its message has come: whoever looks is there."""
    found: dict[str, Laid] = {}
    for posted in waiting:
        name = lives.named(posted.name)
        ours = name.owner == round_.id and name.what in lives.ROUND and name.what not in _NOT_ON_IT
        if ours and not lives.is_file(posted.name) and (posted.message_id or _is_asked(round_, request.by, posted)):
            words = _words(round_, posted)
            found[posted.name] = Laid(name.what, posted.message_id, words, _about(name))
    return sorted(found.values(), key=_in_order)


def _is_asked(round_: Round, me: MemberId, posted: Posted) -> bool:
    """By the step: of everybody, or of the one whose desk it is."""
    if round_.step not in RUNNING:
        return False
    play = PLAYS[round_.step]
    if play.asking is not None:
        return posted.name == play.asking.name(round_, me)
    return play.desk is not None and lives.named(posted.name).what in _DESKS


def _words(round_: Round, posted: Posted) -> Message | None:
    return endings.whole(round_, posted.name) if posted.message_id else endings.as_it_reads(round_, posted.name)


def _about(name: MessageName) -> str:
    """The plan or whatever else stands in the name behind whoever has the message."""
    return name.rest[1] if len(name.rest) > 1 else ""


def _in_order(laid: Laid) -> int:
    return _FIRST.index(laid.what) if laid.what in _FIRST else len(_FIRST)


_RESULTS: Mapping[Step, tuple[str, ...]] = {Step.QUESTIONS: ("dots",), Step.COMMITMENT: ("ballot", "matrix")}
"""Counts of the steps before that are looked at in this one."""


async def _cards(request: Request, round_: Round) -> tuple[Laid, ...]:
    """The step's card in the channel, which everybody can do something with."""
    card = await request.turn.uow.posted(message_name(round_.id, "card", round_.step.value))
    return (Laid("card", card.message_id),) if card is not None and card.open else ()


async def _results(request: Request, round_: Round) -> tuple[Laid, ...]:
    names = [message_name(round_.id, "result", what) for what in _RESULTS.get(round_.step, ())]
    found = [await _result(request, name) for name in names]
    return tuple(laid for laid in found if laid is not None)


async def _result(request: Request, name: str) -> Laid | None:
    """With its first picture."""
    posted = {p.name: p.message_id for p in await request.turn.uow.posted_like(name)}
    pictures = [posted[each] for each in sorted(posted) if lives.is_file(each)]
    return Laid("result", posted[name], picture=next(iter(pictures), "")) if name in posted else None


# --- trials -----------------------------------------------------------------------------------------------------------


async def _laid(request: Request, trial: Trial, today: date, waiting: Sequence[Posted]) -> Laid:
    """`message`: one in whose thread this person's numbers belong to the trial."""
    mine = [p for p in waiting if lives.named(p.name).owner == trial.id and p.message_id]
    words = trial_bench_words.laid(trial, today, request.by)
    pictures = await _pictures(request, trial)
    thread, picture = mine[0].message_id if mine else "", pictures[-1] if pictures else ""
    return Laid("trial", thread, words, trial.id, picture, owner_words.example(trial))


async def _pictures(request: Request, trial: Trial) -> list[str]:
    """In the channel, the newest verdict's last: other messages of a trial have files of dates."""
    place = trial_turn.channel(trial)
    found = await request.turn.uow.posted_like(MessageName(trial.id, "").pack())
    files = [
        (lives.named(p.name).what == "verdict", p.message_id)
        for p in found
        if lives.is_file(p.name) and p.place.root() == place
    ]
    return [message for _, message in sorted(files)]
