"""Which plans are tried, and who owns each: nobody owns a trial without a yes of their own."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.likes import Likes
from coldframe.domain.names import MemberId, PlanId, Step
from coldframe.domain.refusals import Because, Refused, known
from coldframe.domain.state import Alongside, Choice, Round
from coldframe.domain.texts import because, optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class ChoosePlan(Command):
    """Choose a plan for a trial; the engine says how many trials the team runs, when a place is free, and what the
    running ones measure on whom. `announce_at` is when everybody hears of it, whoever wrote the plan; without it at
    once."""

    plan: PlanId
    running_trials: int = 0
    free_on: datetime | None = None
    announce_at: datetime | None = None
    alongside: tuple[Alongside, ...] = ()
    why: str = ""
    """Though the matrix speaks against it."""
    likes: Likes | None = None


class AnnounceChoice(Command):
    """Its moment has come."""

    plan: PlanId


class ShowOffers(Command):
    """Offers to own it are shown, those that came early among the others."""

    plan: PlanId


class DropChoice(Command):
    plan: PlanId


class OfferToOwn(Command):
    plan: PlanId


class AskOwner(Command):
    plan: PlanId
    member: MemberId


class AnswerOwnership(Command):
    plan: PlanId
    accept: bool
    reason: str = ""


# --- what becomes true ---


class PlanChosen(Fact):
    """`alongside`: the trials that the team runs already."""

    plan: PlanId
    announce_at: datetime | None = None
    alongside: tuple[Alongside, ...] = ()
    reason: str = ""
    likes: Likes | None = None


class ChoiceAnnounced(Fact):
    """Everybody may hear which plan it is."""

    plan: PlanId


class OffersShown(Fact):
    plan: PlanId


class ChoiceDropped(Fact):
    plan: PlanId


class OwnershipOffered(Fact):
    plan: PlanId
    by: MemberId


class OwnerAsked(Fact):
    plan: PlanId
    member: MemberId


class OwnershipAccepted(Fact):
    plan: PlanId
    member: MemberId


class OwnershipDeclined(Fact):
    plan: PlanId
    member: MemberId
    reason: str


# --- rulings ---


def choose(round_: Round, command: ChoosePlan, now: datetime) -> Facts:
    settling(round_, command.by)
    checks.plan(round_, command.plan)
    if command.plan in round_.choices:
        return ()
    if command.running_trials + len(round_.choices) >= round_.settings.trials_at_once:
        raise Refused(
            Because.NO_FREE_PLACE,
            most=round_.settings.trials_at_once,
            running=command.running_trials,
            free_on=command.free_on,
        )
    why = _why(round_, command)
    chosen = PlanChosen(command.plan, command.announce_at, command.alongside, why, command.likes)
    return (chosen,) if command.announce_at is not None else (chosen, ChoiceAnnounced(command.plan))


def _why(round_: Round, command: ChoosePlan) -> str:
    """Why it is tried, where the matrix speaks against that."""
    if command.why.strip():
        return because(command.why)
    checks.with_the_corner(round_, command.plan, None)
    return ""


def announce(round_: Round, command: AnnounceChoice, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, Step.COMMITMENT)
    return () if known(round_.choices.get(command.plan)).announced else (ChoiceAnnounced(command.plan),)


def show_offers(round_: Round, command: ShowOffers, now: datetime) -> Facts:
    checks.bot(command.by)
    checks.in_step(round_, Step.COMMITMENT)
    return (OffersShown(command.plan),) if choice_of(round_, command.plan).offers_sealed else ()


def drop(round_: Round, command: DropChoice, now: datetime) -> Facts:
    settling(round_, command.by)
    known(round_.choices.get(command.plan))
    return (ChoiceDropped(command.plan),)


def settling(round_: Round, by: MemberId) -> None:
    checks.in_step(round_, Step.COMMITMENT)
    checks.not_paused(round_)
    checks.may(round_, by, Act.CHOOSE)


def choice_of(round_: Round, plan: PlanId) -> Choice:
    """A chosen plan of which everybody knows. Raises Refused."""
    choice = known(round_.choices.get(plan))
    if not choice.announced:
        raise Refused(Because.NOT_ANNOUNCED)
    return choice


def offer(round_: Round, command: OfferToOwn, now: datetime) -> Facts:
    """Anybody may offer, its author before everybody hears of it; whoever offered and is asked has accepted."""
    checks.may(round_, command.by, Act.OFFER_TO_OWN)
    checks.in_step(round_, Step.COMMITMENT)
    choice = known(round_.choices.get(command.plan))
    if command.by in (choice.owner, *choice.offers):
        return ()
    if choice.asked == command.by:
        return (OwnershipAccepted(command.plan, command.by),)
    return (OwnershipOffered(command.plan, command.by),)


def ask(round_: Round, command: AskOwner, now: datetime) -> Facts:
    """Who owns it stays its owner until somebody else has accepted. Whoever names themselves has said yes."""
    settling(round_, command.by)
    checks.member(round_, command.member)
    choice = choice_of(round_, command.plan)
    if command.member == choice.owner:
        raise Refused(Because.OWNS_ALREADY)
    if command.member == choice.asked:
        return ()
    offered = choice.offers_shown()  # of the others an answer at once would tell of an early offer
    if command.member == command.by or command.member in offered:
        return (OwnershipAccepted(command.plan, command.member),)
    return (OwnerAsked(command.plan, command.member),)


def answer(round_: Round, command: AnswerOwnership, now: datetime) -> Facts:
    """The yes or no of whoever was asked; an owner who accepted may still step back before the seal."""
    checks.member(round_, command.by)
    checks.in_step(round_, Step.COMMITMENT)
    choice = choice_of(round_, command.plan)
    if choice.asked != command.by and choice.owner != command.by:
        raise Refused(Because.NOT_ASKED)
    if not command.accept:
        return (OwnershipDeclined(command.plan, command.by, optional(command.reason, 500, field="reason")),)
    return () if choice.owner == command.by else (OwnershipAccepted(command.plan, command.by),)


def owned_or_settling(round_: Round, by: MemberId, plan: PlanId) -> Choice:
    checks.in_step(round_, Step.COMMITMENT)
    choice = choice_of(round_, plan)
    if by != choice.owner:
        checks.not_paused(round_)
    checks.may(round_, by, Act.DETAILS, plan=plan)
    return choice


def with_choice(round_: Round, plan: PlanId, **changes: object) -> Round:
    changed = replace(round_.choices[plan], **changes)  # type: ignore[arg-type]
    return replace(round_, choices={**round_.choices, plan: changed})


def plan_chosen(round_: Round, fact: PlanChosen) -> Round:
    sealed = fact.announce_at is not None
    choice = Choice(fact.plan, announce_at=fact.announce_at, offers_sealed=sealed, why=fact.reason, likes=fact.likes)
    choices = {**round_.choices, fact.plan: choice}
    return replace(round_, choices=choices, beside=(), alongside=fact.alongside, overlap_accepted=False)


def choice_announced(round_: Round, fact: ChoiceAnnounced) -> Round:
    """It is tried: what should have become of it otherwise falls away."""
    others = {plan: fate for plan, fate in round_.fates.items() if plan != fact.plan}
    return replace(with_choice(round_, fact.plan, announce_at=None), fates=others)


def offers_shown(round_: Round, fact: OffersShown) -> Round:
    """In the order of the roster, which does not tell who was first."""
    choice = round_.choices[fact.plan]
    offers = tuple(m for m in round_.seats if m in choice.offers and m != choice.owner)
    return with_choice(round_, fact.plan, offers=offers, offers_sealed=False)


def choice_dropped(round_: Round, fact: ChoiceDropped) -> Round:
    return replace(round_, choices={p: c for p, c in round_.choices.items() if p != fact.plan})


def ownership_offered(round_: Round, fact: OwnershipOffered) -> Round:
    return with_choice(round_, fact.plan, offers=(*round_.choices[fact.plan].offers, fact.by))


def owner_asked(round_: Round, fact: OwnerAsked) -> Round:
    return with_choice(round_, fact.plan, asked=fact.member)


def ownership_accepted(round_: Round, fact: OwnershipAccepted) -> Round:
    return with_choice(round_, fact.plan, owner=fact.member, asked=None)


def ownership_declined(round_: Round, fact: OwnershipDeclined) -> Round:
    choice = round_.choices[fact.plan]
    return with_choice(
        round_,
        fact.plan,
        asked=None if choice.asked == fact.member else choice.asked,
        owner=None if choice.owner == fact.member else choice.owner,
        offers=tuple(m for m in choice.offers if m != fact.member),
        declined=(*choice.declined, (fact.member, fact.reason)),
    )


DECIDE: Decide = {
    ChoosePlan: choose,
    AnnounceChoice: announce,
    ShowOffers: show_offers,
    DropChoice: drop,
    OfferToOwn: offer,
    AskOwner: ask,
    AnswerOwnership: answer,
}
EVOLVE: Evolve = {
    PlanChosen: plan_chosen,
    ChoiceAnnounced: choice_announced,
    OffersShown: offers_shown,
    ChoiceDropped: choice_dropped,
    OwnershipOffered: ownership_offered,
    OwnerAsked: owner_asked,
    OwnershipAccepted: ownership_accepted,
    OwnershipDeclined: ownership_declined,
}
