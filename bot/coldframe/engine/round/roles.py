"""Roles that change hands, as people meet it: asked, answered, taken over; and who hears when somebody has left."""

from __future__ import annotations

from collections.abc import Mapping

from coldframe.domain.commands import BOT
from coldframe.domain.facts import Fact
from coldframe.domain.names import RUNNING, MemberId, OfferEnd, Role, Step
from coldframe.domain.people.commands import HandOver
from coldframe.domain.people.facts import MemberLeft, RoleFilled, RoleHandedOver
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.moves import Resume
from coldframe.domain.round.roles import (
    AnswerRole,
    DeputyNamed,
    KeepRole,
    NameDeputy,
    OfferRole,
    RoleOffered,
    RoleOfferEnded,
    RolePassed,
    TakeRole,
)
from coldframe.domain.round.rules import RULES
from coldframe.domain.state import Round
from coldframe.engine.core import timetable
from coldframe.engine.core.requests import Answers, RoundRequest, acts, of_round, opens
from coldframe.engine.core.turn import Carry, Follow, InOneTurn, Turn
from coldframe.engine.round import resting, setup
from coldframe.engine.round.joining import OPEN, until
from coldframe.engine.round.steps import PLAYS
from coldframe.message.packed import Occurrence
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech.names import message_name
from coldframe.speech.round import cards, role_words

UNANSWERED = "role unanswered"
OFFER, ASKED = "role-offer", "role-asked"


# --- buttons and forms ----------------------------------------------------------------------------------------------


def _role(request: RoundRequest) -> Role:
    """The role that the button names. Raises Refused for a value that was made up."""
    try:
        return Role(request.part(0))
    except ValueError:
        raise Refused(Because.UNKNOWN_ITEM) from None


async def _show(request: RoundRequest) -> Reply | None:
    return await request.page(role_words.overview(request.round, request.by))


async def _offer(request: RoundRequest) -> None:
    role, to = _role(request), MemberId(request.text("member"))
    await request.act(OfferRole(request.by, role, to, await until(request.turn, request.round, to)))


async def _name_deputy(request: RoundRequest) -> None:
    after = await request.act(NameDeputy(request.by, _role(request), MemberId(request.text("member"))))
    request.answer(role_words.named(after, _role(request)))


OF_ROUND = of_round(
    {
        "role.show": _show,
        "role.offer": opens(lambda r: role_words.choose(r.round, _role(r), r.by)),
        "role.deputy": opens(lambda r: role_words.deputy(r.round, _role(r))),
        "role.yes": acts(lambda r: AnswerRole(r.by, _role(r), accept=True)),
        "role.no": acts(lambda r: AnswerRole(r.by, _role(r), accept=False)),
        "role.keep": acts(lambda r: KeepRole(r.by, _role(r))),
        "role.take": acts(lambda r: TakeRole(r.by, _role(r))),
        "role.back": acts(lambda r: HandOver(r.by, _role(r), to_deputy=False)),
    },
    (Step.SETUP, *RUNNING),
)
BUTTONS: Answers = {**OF_ROUND, **of_round({"round.resume": acts(lambda r: Resume(r.by))})}
FORMS: Answers = of_round({"role.offer": _offer, "role.deputy": _name_deputy}, (Step.SETUP, *RUNNING))


# --- an offer -------------------------------------------------------------------------------------------------------


async def _offered(turn: Turn, before: Round, after: Round, fact: RoleOffered) -> None:
    """The one who is asked, and the one who asked; of somebody who came back, whoever has the role now hears."""
    asked = after.role_offer(fact.role)
    if asked is None:
        return
    turn.tell(after, asked.to, OFFER, role_words.offered(after, asked), rest=(fact.role,))
    turn.tell(after, _asker(after, fact.role, fact.by), ASKED, role_words.asked_them(after, asked), rest=(fact.role,))
    turn.later(UNANSWERED, after.id, Occurrence((fact.role, asked.to)).pack(), asked.until)


def _asker(round_: Round, role: Role, by: MemberId) -> MemberId:
    return round_.roles.acting(role) if by == BOT else by


async def _no_answer(turn: Turn, due: Due) -> None:
    role, _ = Occurrence.unpack(due.occurrence).parts
    round_ = await turn.round(due.subject)
    if round_.role_offer(Role(role)) is not None:
        await turn.act(round_, KeepRole(BOT, Role(role)))


async def _ended(turn: Turn, before: Round, after: Round, fact: RoleOfferEnded) -> None:
    asked = before.role_offer(fact.role)
    if asked is not None and fact.how is not OfferEnd.KEPT and asked.by != BOT:
        turn.answer(after.tenant, asked.by, role_words.no_yes(after, asked, fact.how), about=after, ask=True)


# --- another holder -------------------------------------------------------------------------------------------------


async def _passed(turn: Turn, before: Round, after: Round, fact: RolePassed) -> None:
    if after.step is not Step.SETUP:
        turn.say(
            after, "role", role_words.passed(after, fact.role, fact.before, fact.why), rest=(turn.kit.ids.new(""),)
        )
    await _new_holder(turn, before, after, fact.role)


async def _handed_over(turn: Turn, before: Round, after: Round, fact: RoleHandedOver) -> None:
    if after.step in RUNNING:
        words = role_words.handed_over(after, fact.role, fact.to_deputy, fact.why)
        turn.say(after, "role", words, rest=(turn.kit.ids.new(""),))
    await _new_holder(turn, before, after, fact.role)


async def _filled(turn: Turn, before: Round, after: Round, fact: RoleFilled) -> None:
    """They did not ask for it, so they hear what it means and can pass it on."""
    if after.step in RUNNING:
        turn.say(after, "role", role_words.role_filled(after, fact.role), rest=(turn.kit.ids.new(""),))
    if after.step in OPEN:
        turn.answer(after.tenant, fact.member, role_words.fell_to_you(after, fact.role), about=after, ask=True)
    await _new_holder(turn, before, after, fact.role)


async def _new_holder(turn: Turn, before: Round, after: Round, role: Role) -> None:
    """What the round needs of the role now comes to its new holder."""
    if before.roles.acting(role) == after.roles.acting(role):
        return
    if role is Role.FACILITATOR and after.step in OPEN:
        await resting.over(turn, after)
    if after.step is Step.SETUP:
        await setup.propose(turn, after)
    elif after.paused is not None and role is Role.FACILITATOR:
        await resting.ask(turn, after)
    elif after.paused is None and _waits_for(after) is role:
        desk = PLAYS[after.step].desk
        assert desk is not None
        desk(turn, after)
    if after.step in RUNNING:
        rows = await timetable.rows(turn.uow, turn.now, after)
        turn.revise(message_name(after.id, "opened"), turn.channel(after), cards.round_opened(after, rows), after.id)


def _waits_for(round_: Round) -> Role | None:
    """Whose desk the running step has."""
    if round_.step not in RUNNING or PLAYS[round_.step].desk is None:
        return None
    return RULES[round_.step].decides or Role.FACILITATOR


async def _deputy_named(turn: Turn, before: Round, after: Round, fact: DeputyNamed) -> None:
    by = after.roles.acting(fact.role)
    turn.answer(after.tenant, fact.member, role_words.deputy_named(after, fact.role, by), about=after, ask=True)


async def _left(turn: Turn, before: Round, after: Round, fact: MemberLeft) -> None:
    """The facilitator hears what it changes, in one private message."""
    facilitator = after.roles.acting(Role.FACILITATOR)
    if after.step is Step.SETUP and before.is_facilitator(facilitator):
        await setup.propose(turn, after)  # fewer people give the decision-maker another share of the power
    if facilitator in after.active() and after.step in OPEN:
        turn.answer(after.tenant, facilitator, role_words.departed(before, after, fact.member), about=after, ask=True)


FOLLOW: Mapping[type[Fact], Follow[Round]] = {
    RoleOffered: _offered,
    RoleOfferEnded: _ended,
    RolePassed: _passed,
    RoleHandedOver: _handed_over,
    RoleFilled: _filled,
    DeputyNamed: _deputy_named,
    MemberLeft: _left,
}
DUE: Mapping[str, Carry] = {UNANSWERED: InOneTurn(_no_answer)}
