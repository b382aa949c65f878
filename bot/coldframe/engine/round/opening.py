"""What the opening of each step brings: the channel's card, and the private questions to those who are asked."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable
from dataclasses import replace

from coldframe.domain.names import MemberId, Role, Side, Step
from coldframe.domain.round import placement, rules
from coldframe.domain.round.ballots import options_for
from coldframe.domain.state import Round
from coldframe.engine.core import members, timetable
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import funnel
from coldframe.engine.round import holdups
from coldframe.message.nodes import Line
from coldframe.speech.names import message_name
from coldframe.speech.people import time_words
from coldframe.speech.round import ballot_prompts, cards, commitment_words, prompts, work_prompts


async def enter(turn: Turn, round_: Round) -> None:
    """Posts the step's card and asks its people."""
    if round_.step is Step.NOTES:
        await _announce(turn, round_)
    if round_.step is not Step.COMMITMENT:
        turn.say(round_, "card", cards.step_card(round_), rest=(round_.step.value,))
    if round_.step in ENTER:
        await ENTER[round_.step](turn, round_)
    await holdups.tell(turn, round_)


async def _announce(turn: Turn, round_: Round) -> None:
    turn.say(round_, "opened", cards.round_opened(round_, await timetable.rows(turn.uow, turn.now, round_)))
    file = commitment_words.calendar_of_round(round_)
    turn.attach(f"{round_.id}/opened/calendar", turn.channel(round_), file, round_.id)


async def _notes(turn: Turn, round_: Round) -> None:
    for member in rules.expected(round_):
        await ask_for_notes(turn, round_, member)


async def ask_for_notes(turn: Turn, round_: Round, member: MemberId) -> None:
    """The first word, the question, a prompt for each lever, and the person's own list."""
    await _first_word(turn, round_, member)
    turn.tell(round_, member, "ask", prompts.notes_intro(round_, member), rest=(Step.NOTES.value,))
    for lever, _ in round_.settings.levers:
        turn.tell(round_, member, "prompt", prompts.lever_prompt(round_, lever), rest=(lever,))
    turn.tell(round_, member, "mine", prompts.my_notes(round_, member))


async def _first_word(turn: Turn, round_: Round, member: MemberId) -> None:
    """Once per person: what is kept about them, and what working time was assumed."""
    record = await turn.uow.member(round_.tenant, member)
    if record is None or record.told_privacy:
        return
    calendar = members.calendar_of(record)
    doubted = members.doubted_zone(record)
    doubt = time_words.zone_unknown(doubted.doubted or "", doubted.nearest) if doubted is not None else ()
    turn.answer(round_.tenant, member, prompts.first_word(members.hours_words(calendar), doubt))
    await turn.uow.save_member(replace(record, told_privacy=True))


async def _focus(turn: Turn, round_: Round) -> None:
    _ask_focus(turn, round_, await funnel.help_at_focus(turn, round_))


def _ask_focus(turn: Turn, round_: Round, help_: Line = ()) -> None:
    chief = round_.roles.acting(Role.DECISION_MAKER)
    notes = [round_.notes[i] for i in round_.revealed if not round_.notes[i].hidden]
    counts = [
        (
            lever,
            sum(n.lever == lever and n.side is Side.RESTRAINING for n in notes),
            sum(n.lever == lever and n.side is Side.DRIVING for n in notes),
        )
        for lever, _ in round_.settings.levers
    ]
    turn.tell(round_, chief, "ask", prompts.pick_focus(round_, chief, counts, help_), rest=(Step.FOCUS.value,))


async def _merge(turn: Turn, round_: Round) -> None:
    _merge_desk(turn, round_)


def _merge_desk(turn: Turn, round_: Round) -> None:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    turn.tell(round_, facilitator, "desk", prompts.merge_desk(round_, facilitator), rest=(Step.MERGE.value,))


async def _dots(turn: Turn, round_: Round) -> None:
    for member in rules.expected(round_):
        hand_out_ballot(turn, round_, member)


def hand_out_ballot(turn: Turn, round_: Round, member: MemberId) -> None:
    """The intro, then one message per option in this voter's own order."""
    step = round_.step
    turn.tell(round_, member, "ballot", ballot_prompts.ballot_intro(round_, member), rest=(step.value,), only_in=step)
    for option in options_for(round_, member):
        message = ballot_prompts.option(round_, member, option)
        turn.tell(round_, member, "option", message, rest=(step.value, option), only_in=step)


async def _questions(turn: Turn, round_: Round) -> None:
    _questions_desk(turn, round_)


def _questions_desk(turn: Turn, round_: Round) -> None:
    facilitator = round_.roles.acting(Role.FACILITATOR)
    turn.tell(
        round_, facilitator, "desk", work_prompts.questions_desk(round_, facilitator), rest=(Step.QUESTIONS.value,)
    )


async def _precedents(turn: Turn, round_: Round) -> None:
    for member in rules.expected(round_):
        _ask_for_precedents(turn, round_, member)


def _ask_for_precedents(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.tell(round_, member, "ask", work_prompts.precedents_prompt(round_, member), rest=(Step.PRECEDENTS.value,))


async def _plans(turn: Turn, round_: Round) -> None:
    for member in rules.expected(round_):
        _plans_desk(turn, round_, member)


def _plans_desk(turn: Turn, round_: Round, member: MemberId) -> None:
    turn.tell(round_, member, "desk", work_prompts.plans_desk(round_, member), rest=(Step.PLANS.value,))


def open_when_read(turn: Turn, round_: Round) -> None:
    """The ballots go out when the reading time is over; set again when its window moves or the round goes on."""
    opens = round_.progress.opens
    if round_.step is Step.BALLOT and opens is not None and opens > turn.now:
        turn.later("open", round_.id, Step.BALLOT.value, opens)


async def _placement(turn: Turn, round_: Round) -> None:
    for member in rules.expected(round_):
        ask_to_compare(turn, round_, member)


def ask_to_compare(turn: Turn, round_: Round, member: MemberId) -> None:
    """The next pair, in one message that is brought up to date until all are answered."""
    pair = placement.next_pair(round_, member)
    if pair is None:
        return
    left = placement.left_to_compare(round_, member)
    turn.tell(round_, member, "compare", ballot_prompts.comparison(round_, member, *pair, left))


async def _commitment(turn: Turn, round_: Round) -> None:
    # Rows of one moment are carried out in the order in which they were set: below the results.
    turn.later("desk", round_.id, "card", turn.now)


def ask_the_one(turn: Turn, round_: Round) -> None:
    """Puts the running step's question to whoever holds the role now, after a hand-over."""
    desks: dict[Step, Callable[[Turn, Round], None]] = {
        Step.FOCUS: _ask_focus,
        Step.MERGE: _merge_desk,
        Step.QUESTIONS: _questions_desk,
    }
    if round_.step in desks:
        desks[round_.step](turn, round_)


async def ask_who_was_not_asked(turn: Turn, round_: Round, asked: Iterable[MemberId]) -> None:
    """The running step's question to those it waits for who have not had it: back from an absence, or after a pause."""
    ask = LATE_ASKING.get(round_.step)
    if ask is None or round_.paused is not None or not _has_opened(turn, round_):
        return
    what, rest, telling = ask
    for member in asked:
        if member in rules.expected(round_) and not await turn.uow.knows_message(
            message_name(round_.id, what, member, *rest)
        ):
            await telling(turn, round_, member)


def _has_opened(turn: Turn, round_: Round) -> bool:
    return round_.progress.opens is not None and round_.progress.opens <= turn.now


def _each(tell: Callable[[Turn, Round, MemberId], None]) -> Callable[[Turn, Round, MemberId], Awaitable[None]]:
    async def telling(turn: Turn, round_: Round, member: MemberId) -> None:
        tell(turn, round_, member)

    return telling


# Per step: the name of the message by which a member was asked, and how to ask.
LATE_ASKING: dict[Step, tuple[str, tuple[str, ...], Callable[[Turn, Round, MemberId], Awaitable[None]]]] = {
    Step.NOTES: ("ask", (Step.NOTES.value,), ask_for_notes),
    Step.DOTS: ("ballot", (Step.DOTS.value,), _each(hand_out_ballot)),
    Step.PRECEDENTS: ("ask", (Step.PRECEDENTS.value,), _each(_ask_for_precedents)),
    Step.PLANS: ("desk", (Step.PLANS.value,), _each(_plans_desk)),
    Step.BALLOT: ("ballot", (Step.BALLOT.value,), _each(hand_out_ballot)),
    Step.PLACEMENT: ("compare", (), _each(ask_to_compare)),
}

ENTER: dict[Step, Callable[[Turn, Round], Awaitable[None]]] = {
    Step.NOTES: _notes,
    Step.FOCUS: _focus,
    Step.MERGE: _merge,
    Step.DOTS: _dots,
    Step.QUESTIONS: _questions,
    Step.PRECEDENTS: _precedents,
    Step.PLANS: _plans,
    Step.PLACEMENT: _placement,
    Step.COMMITMENT: _commitment,
}
