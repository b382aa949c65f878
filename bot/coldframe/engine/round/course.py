"""The course of a round as a whole: what opens and closes a step, windows, pauses, roles, dates, the end; and the cards
that every change brings up to date."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, Deciding, MemberId, Role, Step
from coldframe.domain.people.facts import AwaySet, MemberJoined, PersonForgotten
from coldframe.domain.round import rules
from coldframe.domain.round.moves import (
    Cancel,
    DatesTold,
    Done,
    EverybodyIn,
    Extend,
    GotStuck,
    MemberDone,
    NotEverybodyIn,
    NothingCame,
    RoundCancelled,
    RoundPaused,
    RoundResumed,
    StepExtended,
    StepOpened,
    StepPassed,
)
from coldframe.domain.round.pages import STEPS
from coldframe.domain.state import Round
from coldframe.engine.core import homes, sent_form, timetable
from coldframe.engine.core.requests import Request, RoundAnswer, RoundRequest, acts, of_round, opens
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.engine.register import leftovers
from coldframe.engine.reminding import rounds as reminders
from coldframe.engine.round import closing, comparing, counter, endings, holdups, locking, pages, retention, sitting
from coldframe.engine.round.steps import PLAYS, result
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech import answers, panel_words
from coldframe.speech.names import NO_PLANS, about, message_name
from coldframe.speech.people import time_words
from coldframe.speech.register import story_words
from coldframe.speech.round import (
    cards,
    commitment_words,
    forms,
    late_words,
    pass_words,
    prompts,
    role_words,
    undoing_words,
)

OPEN = "open"
STEP_KINDS = (*closing.DUE, *comparing.DUE, *counter.DUE, *locking.DUE, OPEN, result.OPENING, "remind", "deputy")


async def react(
    follow: Mapping[type[Fact], Sequence[Follow[Round]]], turn: Turn, before: Round, after: Round, facts: Sequence[Fact]
) -> None:
    """Tells what the facts mean, in their order, then brings the step's card up to date."""
    for fact in facts:
        for reaction in follow.get(type(fact), ()):
            await reaction(turn, before, after, fact)
    await _windows(turn, before, after, facts)
    counter.follow(turn, before, after)
    await _refresh_card(turn, before, after, facts)
    await endings.follow(turn, before, after)
    if not all(fact.private for fact in facts):  # of what is done in private, nobody else's page tells
        await homes.follow(turn, after.tenant, after.seats)


async def _windows(turn: Turn, before: Round, after: Round, facts: Sequence[Fact]) -> None:
    """Due rows of the step, and what its opening brings."""
    if after.step is not before.step:
        for kind in STEP_KINDS:
            await turn.drop_due(after.id, kind=kind)
    if after.step not in RUNNING or after.paused is not None:
        return
    window_moved = (after.progress.due, after.progress.personal) != (before.progress.due, before.progress.personal)
    if window_moved or after.step is not before.step:
        await _reschedule(turn, after)
    opened = after.step is not before.step and any(isinstance(f, StepOpened) for f in facts)
    if opened and not await result.owed(turn, after):
        await _open(turn, after)


async def _open(turn: Turn, round_: Round) -> None:
    await PLAYS[round_.step].open(turn, round_)
    if round_.step is Step.PLANS:
        await sitting.begin(turn, round_)
    await holdups.tell(turn, round_)


async def _open_below_results(turn: Turn, due: Due) -> None:
    """Its window runs already; card and questions come when all that was to be told before them has been told."""
    round_ = await turn.round(due.subject)
    if round_.step.value != due.occurrence or round_.paused is not None or await _is_open(turn, round_):
        return
    if not await result.owed(turn, round_):
        await _open(turn, round_)


async def _is_open(turn: Turn, round_: Round) -> bool:
    """Whether the channel has the card of the running step."""
    return await turn.uow.knows_message(message_name(round_.id, "card", round_.step.value))


async def _reschedule(turn: Turn, round_: Round) -> None:
    due = round_.progress.due
    assert due is not None
    turn.later("close", round_.id, round_.step.value, due)
    open_when_read(turn, round_)
    await turn.drop_due(round_.id, kind="remind")
    await reminders.schedule(turn, round_)


def open_when_read(turn: Turn, round_: Round) -> None:
    """What waits for the reading time goes out at its end; set again when the window moves or the round goes on."""
    opens_at = round_.progress.opens
    if rules.RULES[round_.step].read_hours and opens_at is not None and opens_at > turn.now:
        turn.later(OPEN, round_.id, round_.step.value, opens_at)


async def _refresh_card(turn: Turn, before: Round, after: Round, facts: Sequence[Fact]) -> None:
    """The card is sent anew only when it reads differently. Of what is done in private it tells the number alone."""
    if after.step not in RUNNING or after.step is not before.step or before.progress.due is None:
        return
    if PLAYS[after.step].card_follows:
        reads = PLAYS[after.step].following_card
        if after != before and (reads is None or reads(after) != reads(before)):
            await PLAYS[after.step].open(turn, after)
        return
    if all(fact.private for fact in facts) and cards.standing(after) == cards.standing(before):
        return
    card = cards.step_card(after)
    if card != cards.step_card(before):
        turn.revise(message_name(after.id, "card", after.step.value), turn.channel(after), card, after.id)


async def say_all_anew(turn: Turn, round_: Round) -> None:
    """All of a round that is open reads as it is now, whatever was made of it meanwhile."""
    await endings.say_anew(turn, round_)
    if round_.step not in RUNNING or not await _is_open(turn, round_):
        return
    if PLAYS[round_.step].card_follows:
        await PLAYS[round_.step].open(turn, round_)
    else:
        card = message_name(round_.id, "card", round_.step.value)
        turn.revise(card, turn.channel(round_), cards.step_card(round_), round_.id)


# --- asking ---


async def _ask_who_was_not_asked(turn: Turn, round_: Round, people: Iterable[MemberId]) -> None:
    """The running step's question to those it waits for who have not had it: back from an absence, or after a pause."""
    asking = PLAYS[round_.step].asking if round_.step in RUNNING else None
    if asking is None or round_.paused is not None or not _has_opened(turn, round_):
        return
    if not await _is_open(turn, round_):
        return  # the questions come with the card
    for member in people:
        if member in rules.expected(round_) and not await turn.uow.knows_message(asking.name(round_, member)):
            await asking.ask(turn, round_, member)


def _has_opened(turn: Turn, round_: Round) -> bool:
    return round_.progress.opens is not None and round_.progress.opens <= turn.now


def _refresh_own(turn: Turn, round_: Round, member: MemberId) -> None:
    own_card = PLAYS[round_.step].own_card if round_.step in RUNNING else None
    if own_card is not None:
        own_card(turn, round_, member)


# --- buttons and forms ---


async def _done(request: RoundRequest) -> Reply | None:
    await request.act(Done(request.by))
    return request.noted(answers.done(True))


async def _undone(request: RoundRequest) -> Reply | None:
    await request.act(Done(request.by, done=False))
    return request.noted(answers.done(False))


def _closes(what: Deciding) -> RoundAnswer:
    async def answered(request: RoundRequest) -> Reply | None:
        after = await closing.by_hand(request.turn, request.round, request.by, what)
        return closed_by_hand(request, request.round, after)

    return answered


def closed_by_hand(request: Request, before: Round, after: Round) -> Reply | None:
    """What comes of it: beside a button in the channel at once, in the direct messages on a card of its own."""
    if after.decided() is not None:
        return request.noted(undoing_words.card(after))
    return Reply(note=panel_words.reads_first(before)) if after == before else None


OF_STEP = of_round(
    {
        "step.done": _done,
        "step.undone": _undone,
        "step.close": _closes(Deciding.CLOSE),
        "step.extend": acts(lambda r: Extend(r.by)),
        "step.without": _closes(Deciding.WITHOUT),
        "round.end": opens(lambda r: forms.date("round.end", about(r.round))),
    }
)
OF_ROUND = of_round({"round.cancel": opens(lambda r: forms.cancel(r.round))}, (Step.SETUP, *RUNNING))
BUTTONS = {**OF_STEP, **OF_ROUND}


async def _end(request: RoundRequest) -> None:
    """The round ends without a commitment, and the next one has its date."""
    whose = await sent_form.at_work(request, request.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(request, "date", request.text("date"), whose)
    await request.act(Cancel(request.by, NO_PLANS, day.at))
    request.answer(time_words.next_round_on(day))


FORMS = {
    **of_round({"round.cancel": acts(lambda r: Cancel(r.by, r.text("reason")))}, (Step.SETUP, *RUNNING)),
    **of_round({"round.end": _end}, (Step.PLANS,)),
}


# --- what follows ---


async def _extended(turn: Turn, before: Round, round_: Round, fact: StepExtended) -> None:
    """The channel is told once a step, and the line is brought up to date after that: dates that moved by a day or more
    have a word of their own."""
    name, words = message_name(round_.id, "extended", round_.step.value), cards.extended(round_, fact.why)
    if await turn.uow.knows_message(name):
        turn.revise(name, turn.channel(round_), words, round_.id, record=True)
    else:
        turn.say(round_, "extended", words, rest=(round_.step.value,))
    _ask_again(turn, before, round_)


def _ask_again(turn: Turn, before: Round, round_: Round) -> None:
    """Whoever was done with nothing is not done any more; their own card says so."""
    for member in before.progress.done - round_.progress.done:
        _refresh_own(turn, round_, member)


async def _passed(turn: Turn, before: Round, round_: Round, fact: StepPassed) -> None:
    words = pass_words.passed(round_, fact.step, fact.why)
    if words is not None:
        turn.say(round_, "passed", words, rest=(fact.step.value,))


async def _nothing_came(turn: Turn, before: Round, round_: Round, fact: NothingCame) -> None:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    words = prompts.nothing_came(round_, fact.came_in)
    turn.tell(round_, facilitator, "nothing", words, rest=(round_.step.value, turn.kit.ids.new("")))


async def _paused(turn: Turn, before: Round, round_: Round, fact: RoundPaused) -> None:
    for kind in STEP_KINDS:
        await turn.drop_due(round_.id, kind=kind)
    turn.say(round_, "paused", cards.paused(round_, fact.why), rest=(turn.kit.ids.new(""),))


async def _resumed(turn: Turn, before: Round, round_: Round, fact: RoundResumed) -> None:
    turn.say(round_, "resumed", cards.resumed(round_), rest=(turn.kit.ids.new(""),))
    if round_.step in RUNNING and not await _is_open(turn, round_):
        turn.later(result.OPENING, round_.id, round_.step.value, turn.now)
    await _ask_who_was_not_asked(turn, round_, rules.expected(round_))


async def _away_set(turn: Turn, before: Round, round_: Round, fact: AwaySet) -> None:
    if not fact.away:
        await _ask_who_was_not_asked(turn, round_, (fact.member,))


async def _cancelled(turn: Turn, before: Round, round_: Round, fact: RoundCancelled) -> None:
    await turn.drop_due(round_.id)
    retention.after_end(turn, round_)
    for kind in STEPS:
        pages.hand_back(turn, before, kind)
    if before.step is Step.SETUP and not fact.reason:
        _expired(turn, before)
        return
    name = turn.say(round_, "cancelled", cards.cancelled(round_, fact.reason))
    if fact.next_round is not None:
        turn.later("next round", round_.id, "start", fact.next_round)
    if round_.dates_told:
        turn.attach(f"{name}/calendar", turn.channel(round_), commitment_words.deadlines_off(round_), round_.id)


def _expired(turn: Turn, round_: Round) -> None:
    """A setup that came to nothing: those who set it up hear, and not a channel that had not heard of it."""
    roles = (round_.roles.acting(Role.FACILITATOR), round_.roles.deputy(Role.FACILITATOR))
    for member in dict.fromkeys(m for m in roles if m is not None):
        turn.answer(round_.tenant, member, role_words.expired(round_), ask=True)


async def _everybody_in(turn: Turn, before: Round, round_: Round, fact: EverybodyIn) -> None:
    turn.later("settle", round_.id, round_.step.value, fact.settles_at)


async def _not_everybody(turn: Turn, before: Round, round_: Round, fact: NotEverybodyIn) -> None:
    await turn.drop_due(round_.id, kind="settle")


async def _joined(turn: Turn, before: Round, round_: Round, fact: MemberJoined) -> None:
    if round_.step in RUNNING:
        story = await leftovers.story(turn.uow, round_.tenant, round_.channel)
        last = story_words.last_round(story) if story is not None else []
        turn.answer(round_.tenant, fact.member, late_words.welcome(round_, last), about=round_, ask=True)


async def _said_done(turn: Turn, before: Round, after: Round, fact: MemberDone) -> None:
    _refresh_own(turn, after, fact.member)


async def _forgotten(turn: Turn, before: Round, after: Round, fact: PersonForgotten) -> None:
    """Their own list in the direct messages, too, shows nothing any more."""
    if after.paused is None and after.progress.due is not None:
        _refresh_own(turn, after, fact.member)


async def _stuck(turn: Turn, before: Round, after: Round, fact: GotStuck) -> None:
    hear = (after.roles.acting(Role.FACILITATOR), after.roles.deputy(Role.FACILITATOR))
    for member in [m for m in dict.fromkeys(hear) if m in after.active()]:
        assert member is not None
        words = prompts.stuck(after, fact.came_in, fact.quorum, fact.why)
        turn.tell(after, member, "stuck", words, rest=(after.step.value,))


async def _dates_told(turn: Turn, before: Round, after: Round, fact: DatesTold) -> None:
    """Told anew: the card with the dates is brought up to date, and its file takes the place of the one before. A word
    comes only where the date that binds everybody now moved by a day or more."""
    if fact.times == 1:
        return
    card, number = message_name(after.id, "opened"), str(fact.times)
    turn.revise(
        card, turn.channel(after), cards.round_opened(after, await timetable.rows(turn.uow, turn.now, after)), after.id
    )
    earlier = ("opened",) if fact.times == 2 else ("moved", str(fact.times - 1))
    turn.take_away(message_name(after.id, *earlier, "calendar"), turn.channel(after), after.id)
    name = message_name(after.id, "moved", number, "calendar")
    turn.attach(name, turn.channel(after), commitment_words.calendar_of_round(after), after.id, thread_of=card)
    if timetable.binding_moved(before, after):
        words = time_words.dates_moved(after, before.dates_told[after.step], after.dates_told[after.step])
        turn.say(after, "moved", words, rest=(number,), thread_of=card)


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    StepExtended: _extended,
    StepPassed: _passed,
    NothingCame: _nothing_came,
    RoundPaused: _paused,
    RoundResumed: _resumed,
    AwaySet: _away_set,
    RoundCancelled: _cancelled,
    EverybodyIn: _everybody_in,
    NotEverybodyIn: _not_everybody,
    MemberJoined: _joined,
    MemberDone: _said_done,
    PersonForgotten: _forgotten,
    GotStuck: _stuck,
    DatesTold: _dates_told,
}
DUE: Mapping[str, Carry] = {result.OPENING: InOneTurn(_open_below_results)}
