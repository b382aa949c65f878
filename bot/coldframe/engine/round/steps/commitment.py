"""Commitment: plans are chosen, owners accept, actions and dates are set, then it is sealed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId, PlanId, Role, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.round import commitment
from coldframe.domain.round.choosing import (
    AnswerOwnership,
    AskOwner,
    ChoosePlan,
    DropChoice,
    OfferToOwn,
    OwnerAsked,
    OwnershipAccepted,
    OwnershipDeclined,
    owned_or_settling,
)
from coldframe.domain.round.commitment import (
    AcceptOverlap,
    Committed,
    CompleteCriterion,
    Forecast,
    NameChecker,
    SetActions,
    SetLive,
    SetNextRound,
)
from coldframe.domain.state import Action, Round
from coldframe.engine.core import members, review_dates, sent_form
from coldframe.engine.core.requests import Over, RoundAnswer, RoundRequest, acts, opens
from coldframe.engine.core.turn import InOneTurn, Turn
from coldframe.engine.register import registering
from coldframe.engine.round import announcing, closing, fate_desk, retention
from coldframe.engine.round.steps.play import Reads, StepPlay, chosen
from coldframe.engine.trial import building, forecasts, places
from coldframe.message.nodes import Form
from coldframe.ports.chat import Reply
from coldframe.ports.storage import Due
from coldframe.speech import answers, over_words
from coldframe.speech.names import about, message_name
from coldframe.speech.people import time_words
from coldframe.speech.round import cards, commitment_words, fate_desk_words, forms, odds_words
from coldframe.speech.trial.building_words import pace_line
from coldframe.timing.dates import Reading

CARD = "desk"

# --- its card ---


async def _open(turn: Turn, round_: Round) -> None:
    # Rows of one moment are carried out in the order in which they were set: below the results.
    turn.later(CARD, round_.id, "card", turn.now)


async def _card(turn: Turn, due: Due) -> None:
    """Posted once below the results, then brought up to date in place."""
    round_ = await turn.round(due.subject)
    if round_.step is not Step.COMMITMENT:
        return
    running, free_on = await places.places(turn, round_)
    card = cards.resting(round_, commitment_words.desk(round_, running, free_on))
    name = message_name(round_.id, "card", Step.COMMITMENT.value)
    if await turn.uow.knows_message(name):
        turn.revise(name, turn.channel(round_), card, round_.id)
    else:
        turn.say(round_, "card", card, rest=(Step.COMMITMENT.value,))


# --- choosing, sealing ---


async def _choose(request: RoundRequest) -> Reply | None:
    """Who chose hears when everybody hears of it; until then the card says only that something is chosen. Against the
    matrix the form asks why."""
    turn, plan = request.turn, PlanId(request.part(0))
    running, free_on = await places.places(turn, request.round)
    alongside = await places.alongside(turn, request.round)
    announce_at = await announcing.moment(turn, request.round)
    likes = await registering.like(turn.uow, request.round, known(request.round.plans.get(plan)))
    why = request.text("why")
    command = ChoosePlan(request.by, plan, running, free_on, announce_at, alongside, why, likes)
    try:
        after = await request.act(command)
    except Refused as refused:
        if refused.code is not Because.AGAINST_THE_CORNER:
            raise
        return Reply(form=fate_desk_words.against(request.round, plan, request.round.corners[plan]))
    return request.shown(commitment_words.chosen(after, after.plans[plan], after.choices[plan].announce_at))


async def _commit(request: RoundRequest) -> None:
    await closing.seal(request.turn, request.round, request.by)


def _form(make: Callable[[Round, PlanId], Form]) -> RoundAnswer:
    """A form about a chosen plan."""

    def opened(request: RoundRequest) -> Form:
        return make(request.round, chosen(request)[0])

    return opens(opened)


def _of_details(request: RoundRequest) -> PlanId:
    """The plan whose actions, review or criterion they may set. Raises Refused for whoever owns another one only."""
    plan, _ = chosen(request)
    owned_or_settling(request.round, request.by, plan)
    return plan


# --- owners ---


async def _offer(request: RoundRequest) -> None:
    plan = PlanId(request.part(0))
    choice = (await request.act(OfferToOwn(request.by, plan))).choices[plan]
    owns = choice.owner == request.by
    noted = commitment_words.offer_noted(choice.offers_sealed)
    request.answer(commitment_words.you_own_it(request.round, plan) if owns else noted)


def _asked_about(request: RoundRequest) -> PlanId:
    """The plan that the person is asked to own, or has accepted. Raises Over when somebody else is or has."""
    plan = PlanId(request.part(0))
    choice = request.round.choices.get(plan)
    if choice is None or request.by not in (choice.asked, choice.owner):
        raise Over(request.round, over_words.ownership(request.round, plan))
    return plan


async def _accept(request: RoundRequest) -> None:
    plan = _asked_about(request)
    await request.act(AnswerOwnership(request.by, plan, accept=True))
    request.answer(commitment_words.you_own_it(request.round, plan))


async def _decline(request: RoundRequest) -> None:
    """No, with a reason; the person proposed instead is asked at once, in the name of whoever facilitates now."""
    plan = _asked_about(request)
    commands: list[Command] = [AnswerOwnership(request.by, plan, accept=False, reason=request.text("reason"))]
    instead, choice = MemberId(request.text("instead")), request.round.choices.get(plan)
    can_be_asked = instead in request.round.active() and instead != request.by and request.round.paused is None
    if can_be_asked and choice is not None and instead != choice.owner:
        commands.append(AskOwner(request.round.roles.acting(Role.FACILITATOR), plan, instead))
    await request.turn.act_all(request.round, commands)


# --- actions ---


async def _actions_form(request: RoundRequest) -> Reply:
    """Known actions with their days as whoever opens it counts them."""
    plan = _of_details(request)
    calendar = members.calendar_of(await request.turn.uow.member(request.round.tenant, request.by))
    return Reply(form=forms.actions(request.round, plan, calendar.local_day))


async def _actions(request: RoundRequest) -> None:
    plan, choice = chosen(request)
    actions: list[Action] = []
    understood: list[tuple[str, Reading]] = []
    for number, words in enumerate(request.text("actions").splitlines(), 1):
        if words.strip():
            what, when, who = sent_form.between_bars(words)
            owner = sent_form.member_named(request, who, "actions") if who else (choice.owner or request.by)
            day = await sent_form.action_day(request, when, owner)
            actions.append(Action(f"a{number}", what, owner, day.at))
            understood.append((what, day))
    await request.act(SetActions(request.by, plan, tuple(actions)))
    if understood:
        request.answer(time_words.dates_understood(understood, commitment_words.actions_again(request.round, plan)))


# --- criterion, forecast, dates ---


def _criterion_form(request: RoundRequest) -> Form:
    return forms.criterion(request.round, _of_details(request))


async def _criterion(request: RoundRequest) -> Reply | None:
    """Another kind of measure than the form is for: the form of that kind, with what was typed."""
    plan, _ = chosen(request)
    shown, kind = forms.kind_shown(request.round, plan, request.parts), request.text("kind")
    if kind and kind != shown:
        return Reply(form=forms.criterion(request.round, plan, sent_form.kind(kind), request.fields))
    known = request.round.plans[plan].criterion
    old = known if known.kind == shown else replace(known, kind=shown, baseline_weeks=())
    commands: list[Command] = [CompleteCriterion(request.by, plan, sent_form.read_criterion(request, old))]
    if request.text("checked_by").strip():
        commands.append(NameChecker(request.by, plan, request.text("checked_by")))
    await request.turn.act_all(request.round, commands)
    return None


async def _forecast(request: RoundRequest) -> Reply | None:
    chance = sent_form.whole(request, "chance")
    if chance is None:
        raise sent_form.FieldError("chance", answers.A_CHANCE)
    await request.act(Forecast(request.by, PlanId(request.part(0)), chance, request.text("fear")))
    return request.noted(answers.forecast_kept())


async def _live_form(request: RoundRequest) -> Reply:
    """With how long the team's builds have taken until now."""
    plan = _of_details(request)
    return Reply(form=forms.live(request.round, plan, pace_line(await building.pace_of(request.turn, request.round))))


async def _live(request: RoundRequest) -> None:
    """On a day on which its owner works. The review follows from it."""
    plan, choice = chosen(request)
    owner = choice.owner or request.by
    whose = await sent_form.at_work(request, owner)
    day, calendar = (await sent_form.typed_day(request, "date", request.text("date"), whose)).day, whose[0][1]
    people, counted = review_dates.of_choice(request.round, owner), review_dates.if_live(request.round, plan, day)
    review = await review_dates.moment(request.turn, request.tenant, people, counted, calendar.tz)
    after = await request.act(SetLive(request.by, plan, day, calendar.local_day(request.turn.now), review))
    request.answer(commitment_words.live_understood(after, plan))


async def _review_follows(request: RoundRequest) -> None:
    """A form of an earlier release, where the review's date was typed."""
    plan, _ = chosen(request)
    request.answer(commitment_words.review_follows(request.round, plan))


async def _next_round(request: RoundRequest) -> None:
    whose = await sent_form.at_work(request, request.round.roles.acting(Role.FACILITATOR))
    day = await sent_form.typed_day(request, "date", request.text("date"), whose)
    await request.act(SetNextRound(request.by, day.at))
    request.answer(
        time_words.date_understood(time_words.NEXT_ROUND, day, commitment_words.next_round_again(request.round))
    )


# --- what follows ---


async def _owner_asked(turn: Turn, before: Round, after: Round, fact: OwnerAsked) -> None:
    words = commitment_words.owner_asked(after, after.plans[fact.plan])
    turn.tell(after, fact.member, "own", words, rest=(fact.plan,))


async def _owner_accepted(turn: Turn, before: Round, after: Round, fact: OwnershipAccepted) -> None:
    """Who owned it until now hears who does from now on."""
    earlier = before.choices[fact.plan].owner
    if earlier is not None:
        words = commitment_words.owner_replaced(after, after.plans[fact.plan], fact.member)
        turn.answer(after.tenant, earlier, words, about=after)


async def _declined(turn: Turn, before: Round, after: Round, fact: OwnershipDeclined) -> None:
    words = commitment_words.declined(after, after.plans[fact.plan], fact.member, fact.reason)
    turn.answer(after.tenant, after.roles.acting(Role.FACILITATOR), words, about=after, ask=True)


async def _committed(turn: Turn, before: Round, round_: Round, fact: Committed) -> None:
    await turn.drop_due(round_.id)
    retention.after_end(turn, round_)
    turn.say(round_, "committed", commitment_words.sealed_card(round_))
    assert round_.next_round is not None and not commitment.missing(round_)
    turn.later("next round", round_.id, "start", round_.next_round)


READS: Mapping[str, Reads] = {
    "author": announcing.author_card,
    "own": lambda round_, rest: commitment_words.owner_asked(round_, round_.plans[PlanId(rest[1])]),
    forecasts.SHEET: lambda round_, rest: forecasts.sheet(round_, MemberId(rest[0])),
    forecasts.NAME: forecasts.reads,
    "odds": lambda round_, rest: odds_words.to_owner(round_, PlanId(rest[1])),
}
PLAY = StepPlay(
    open=_open, asking=None, desk=None, own_card=None, reads=READS, card_follows=True,
    following_card=lambda r: commitment_words.desk(r, 0, None),
    buttons={
        "round.commit": _commit,
        "choice.make": _choose,
        "fate.settle": fate_desk.form,
        "choice.drop": acts(lambda r: DropChoice(r.by, PlanId(r.part(0)))),
        "owner.offer": _offer,
        "owner.accept": _accept,
        "overlap.accept": acts(lambda r: AcceptOverlap(r.by)),
        "owner.ask": _form(forms.owner),
        "owner.decline": opens(lambda r: forms.decline(r.round, _asked_about(r))),
        "actions.write": _actions_form,
        "criterion.write": opens(_criterion_form),
        "forecast.write": opens(lambda r: forms.forecast(r.round, chosen(r)[0], r.by)),
        "live.date": _live_form,
        "review.date": _live_form,  # of an earlier release
        "nextround.date": opens(lambda r: forms.date("nextround.date", about(r.round))),
    },
    forms={
        "choice.make": _choose,
        "fate.settle": fate_desk.settled,
        "fate.details": fate_desk.detailed,
        "owner.ask": acts(lambda r: AskOwner(r.by, PlanId(r.part(0)), MemberId(r.text("member")))),
        "owner.decline": _decline,
        "actions.write": _actions,
        "criterion.write": _criterion,
        "forecast.write": _forecast,
        "live.date": _live,
        "review.date": _review_follows,
        "nextround.date": _next_round,
    },
    follow={
        OwnerAsked: _owner_asked,
        OwnershipAccepted: _owner_accepted,
        OwnershipDeclined: _declined,
        Committed: _committed,
    },
    due={CARD: InOneTurn(_card)},
)  # fmt: skip
