"""Commands of every kind, by anybody, with anything in them; and the sensible ones that bring a round on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from random import Random

from coldframe.domain.commands import BOT, Command
from coldframe.domain.fates import OF_A_PLAN, Corner, Placed, PlanFate, ToChange
from coldframe.domain.likes import Earlier, Kin
from coldframe.domain.names import (
    Axis,
    BeginningId,
    Deciding,
    ForceId,
    LeverId,
    MemberId,
    NoteId,
    PlanId,
    PrecedentId,
    QuestionId,
    Role,
    Side,
    Step,
    Touches,
)
from coldframe.domain.people.commands import ConfirmWeight, Forget, HandOver, Join, Leave, SetAway
from coldframe.domain.round import ballots, placement, rules
from coldframe.domain.round.ballots import CastVote, LockBallot, Reconcile, TakeBackVote
from coldframe.domain.round.choosing import (
    AnnounceChoice,
    AnswerOwnership,
    AskOwner,
    ChoosePlan,
    DropChoice,
    OfferToOwn,
    ShowOffers,
)
from coldframe.domain.round.commitment import (
    AcceptOverlap,
    Commit,
    CompleteCriterion,
    Forecast,
    NameChecker,
    SeeDigits,
    SetActions,
    SetLive,
    SetNextRound,
)
from coldframe.domain.round.correcting import GiveDots, Reword, SetDeadline, SetLengths, SetUpAnew, TakeOff
from coldframe.domain.round.counter import TellCount
from coldframe.domain.round.fates import KnowCorners, SettleFates, untried
from coldframe.domain.round.foretelling import ShowOdds
from coldframe.domain.round.jotting import Jot
from coldframe.domain.round.likening import (
    FindEarlier,
    FindKin,
    FindSamePeople,
    OrderForPage,
    OrderLevers,
    OrderQuestions,
)
from coldframe.domain.round.merging import AnswerMerge, JoinForces, PickFocus, ProposeMerges, SayTheSame, SplitForce
from coldframe.domain.round.moves import (
    Cancel,
    Close,
    Done,
    Extend,
    GoOnWithout,
    MakeUp,
    Pause,
    Resume,
    SetParts,
    SetWindow,
    Start,
    TellDates,
)
from coldframe.domain.round.notes import Consent, DropDraft, EditNote, KeepDraft, WithdrawNote, WriteNote
from coldframe.domain.round.pages import DropPage, KeepPage
from coldframe.domain.round.placement import Compare, StepBack
from coldframe.domain.round.plans import FindCautions, HandInPlan, KnowChanges, SayNotSo, WithdrawPlan
from coldframe.domain.round.questions import DropQuestion, GivePrecedent, SuggestQuestion, WriteQuestion
from coldframe.domain.round.reopening import OpenAgain
from coldframe.domain.round.revealed_notes import HideNote, SettleLateNote
from coldframe.domain.round.roles import AnswerRole, KeepRole, NameDeputy, OfferRole, OpenRole, TakeRole
from coldframe.domain.round.undoing import AnnounceNow, Hold, Undo
from coldframe.domain.state import Action, Criterion, MergeProposal, Odds, Round
from tests.domain.play import REASON, a_plan, criterion

STRANGER = MemberId("zoe")
BAD_TEXTS = (
    "", "   ", "\u200b\u200d", "\x00", "a\x07b", "\ud800", "e" + "\u0301" * 9, "x" * 40_000, "\r\n", "\u2028",
)  # fmt: skip
GOOD_TEXTS = (
    "👍🏽", "<!channel> *bold*", "\u202egnirts", "e\u0301te\u0301", "one\r\ntwo", "- retention: hard", "=1+1", "नमस्ते",
)  # fmt: skip
SIGNS = ("button", "+1", ":wave:", "👍", "👍🏽", "button:1", "", "\ud800")


class Wild:
    """Draws commands for a round. Every text it gives carries a word of its own, so that a leak can be found."""

    def __init__(self) -> None:
        self.count = 0
        self.words: list[str] = []

    def word(self) -> str:
        self.count += 1
        self.words.append(f"zq{self.count}qz")
        return self.words[-1]

    def text(self, rnd: Random) -> str:
        """Mostly text that will be taken."""
        if rnd.random() < 0.15:
            return rnd.choice(BAD_TEXTS)
        word = self.word()
        return f"{rnd.choice(GOOD_TEXTS)} {word}" if rnd.random() < 0.3 else f"They wait too long {word}"

    def number(self, kind: str) -> str:
        self.count += 1
        return f"{kind}{self.count}"

    # --- anything ---

    def command(self, round_: Round, rnd: Random, now: datetime, running: int) -> Command:
        """Any command, by anybody, about anything."""
        make = rnd.choice(_KINDS)
        return make(self, round_, rnd, now, running)

    # --- sensible ---

    def work(self, round_: Round, rnd: Random, now: datetime, running: int) -> Iterator[Command]:
        """What the people of the step would give, some more, some less."""
        if round_.paused or round_.step in (Step.SETUP, Step.FOCUS, Step.COMMITMENT):
            yield from self.move(round_, rnd, now, running) if rnd.random() < 0.6 else ()
        for member in rules.expected(round_) or round_.active():
            if round_.step is Step.NOTES and rnd.random() < 0.3:
                continue  # so that sometimes under three people write
            for _ in range(rnd.choice((0, 1, 1, 2, 3))):
                yield from self._give(round_, rnd, member)
            if rnd.random() < 0.5:
                yield Done(member)

    def _give(self, round_: Round, rnd: Random, member: MemberId) -> Iterator[Command]:
        match round_.step:
            case Step.NOTES:
                side = Side.RESTRAINING if rnd.random() < 0.8 else Side.DRIVING
                yield WriteNote(member, NoteId(self.number("n")), _lever(round_, rnd), side, self.text(rnd))
            case Step.MERGE if len(round_.forces) > 1:
                a, b = rnd.sample(round_.forces, 2)
                yield rnd.choice(
                    (
                        JoinForces(member, a.id, b.id),
                        SayTheSame(member, a.id, b.id),
                        ProposeMerges(BOT, (MergeProposal(a.notes[0], b.notes[0], 0.9, "alike"),)),
                        AnswerMerge(rnd.choice(round_.active() or (STRANGER,)), a.notes[0], b.notes[0], same=True),
                    )
                )
            case Step.DOTS | Step.BALLOT:
                if ballots.options(round_):
                    yield CastVote(member, rnd.choice(ballots.options(round_)), rnd.choice(SIGNS))
                if rnd.random() < 0.5:
                    yield LockBallot(member)
                yield from self._comparisons(round_, rnd, member)
            case Step.QUESTIONS:
                force = rnd.choice([s.option for s in round_.forces_standing if s.carried])
                yield WriteQuestion(member, QuestionId(self.number("q")), ForceId(force), self.text(rnd))
            case Step.PRECEDENTS:
                yield GivePrecedent(
                    member, PrecedentId(self.number("x")), rnd.choice(round_.questions).id, self.text(rnd)[:99], "Idea"
                )
            case Step.PLANS:
                yield self.plan(round_, rnd, member)
            case Step.PLACEMENT:
                yield from self._comparisons(round_, rnd, member)
            case _:
                return

    def _comparisons(self, round_: Round, rnd: Random, member: MemberId) -> Iterator[Command]:
        pair = placement.next_pair(round_, member)
        if pair is not None:
            yield Compare(member, *pair, rnd.choice(("first", "second", "same")))

    def plan(self, round_: Round, rnd: Random, member: MemberId) -> HandInPlan:
        question = rnd.choice(round_.questions).id if round_.questions else QuestionId("none")
        plan = a_plan(
            self.number("p"),
            question=question,
            title=f"Ring them {self.word()}",
            hypothesis=f"If we ring them, they stay {self.word()}",
            steps=(rnd.choice((self.word(), "mail all pupils a discount")),),
            might_fail=self.word(),
            chance=rnd.choice((None, 0, 50, 100)),
            weeks=rnd.choice((3, 4, 6)),
            criterion=rnd.choice((criterion(measure=self.word()), criterion(), Criterion(measure=self.word()))),
        )
        return HandInPlan(member, plan)

    def move(self, round_: Round, rnd: Random, now: datetime, running: int) -> Iterator[Command]:
        """What whoever holds the role would do to bring the round on."""
        chief, lead = round_.roles.acting(Role.DECISION_MAKER), round_.roles.acting(Role.FACILITATOR)
        if round_.paused is not None:
            yield Resume(lead)
        match round_.step:
            case Step.SETUP:
                yield from (ConfirmWeight(lead), Start(lead))
            case Step.NOTES:
                yield self._closed(rnd, lead)
                if rnd.random() < 0.1:
                    yield Pause(lead)
                for member in round_.active():
                    yield Consent(member)
            case Step.FOCUS:
                yield from self._focus(round_, rnd, chief)
            case Step.COMMITMENT:
                yield from self._commitment(round_, rnd, now, lead, running)
            case _:
                yield self._closed(rnd, lead)
        if rnd.random() < 0.2:
            yield rnd.choice((Undo, AnnounceNow))(rnd.choice((chief, lead)))

    def _closed(self, rnd: Random, lead: MemberId) -> Command:
        return Hold(lead, Deciding.CLOSE) if rnd.random() < 0.3 else Close(lead)

    def _focus(self, round_: Round, rnd: Random, chief: MemberId) -> Iterator[Command]:
        held_back = [n.lever for n in round_.notes.values() if n.side is Side.RESTRAINING and not n.hidden]
        if not held_back:
            late = NoteId(self.number("n"))
            yield WriteNote(chief, late, _lever(round_, rnd), Side.RESTRAINING, self.text(rnd))
            yield SettleLateNote(chief, late, "post")
        lever = rnd.choice(held_back or [_lever(round_, rnd)])
        if rnd.random() < 0.3:
            yield Hold(chief, Deciding.FOCUS, lever, f"{REASON} {self.word()}")
        else:
            yield PickFocus(chief, lever, REASON)

    def _commitment(self, round_: Round, rnd: Random, now: datetime, lead: MemberId, running: int) -> Iterator[Command]:
        for plan in rnd.sample(list(round_.plans), rnd.choice((1, 1, 2, 3)) % (len(round_.plans) + 1)):
            owner = rnd.choice(round_.active() or (STRANGER,))
            yield ChoosePlan(lead, plan, running)
            yield from (AskOwner(lead, plan, owner), AnswerOwnership(owner, plan, accept=rnd.random() < 0.9))
            yield CompleteCriterion(lead, plan, criterion())
            if rnd.random() < 0.7:
                yield NameChecker(lead, plan, "Privacy desk")
            if rnd.random() < 0.1:
                yield Leave(BOT, owner)
        for plan in round_.choices:
            yield SetActions(lead, plan, (_action(round_, rnd, now + timedelta(days=2)),))
            yield SetLive(lead, plan, now.date(), now.date(), now + timedelta(days=50))
            yield ShowOdds(BOT, plan, round_.plans[plan].criterion, _odds(rnd))
            yield Forecast(lead, plan, 60, self.word())
        yield SettleFates(lead, {plan: _fate(round_, rnd, now) for plan in untried(round_)})
        yield SetNextRound(lead, now + timedelta(days=70))
        if rnd.random() < 0.5:
            yield AcceptOverlap(lead)
        yield Commit(lead, running)


# --- pieces -----------------------------------------------------------------------------------------------------


def _fate(round_: Round, rnd: Random, now: datetime) -> PlanFate:
    owner, due = rnd.choice(round_.active() or (STRANGER,)), now + timedelta(days=20)
    return PlanFate(rnd.choice(OF_A_PLAN), owner, due, "the web team's board", rnd.choice(("", REASON, REASON)))


def _lever(round_: Round, rnd: Random) -> LeverId:
    return rnd.choice(round_.settings.levers)[0]


def anybody(round_: Round, rnd: Random) -> MemberId:
    """A member, present or gone; whoever holds a role; a stranger; time itself."""
    seats = list(round_.seats)
    roles = [round_.roles.acting(role) for role in Role]
    deputies = [round_.roles.deputy(role) or STRANGER for role in Role]
    return rnd.choice([*seats, *roles, *roles, *deputies, STRANGER, BOT])


def _asked(round_: Round, rnd: Random) -> MemberId:
    """Mostly somebody who was asked to take a role."""
    return rnd.choice([*(offer.to for offer in round_.role_offers), anybody(round_, rnd)])


def _note(round_: Round, rnd: Random) -> NoteId:
    return rnd.choice([*round_.notes, *round_.late_notes, *round_.drafts, NoteId("none")])


def _force(round_: Round, rnd: Random) -> ForceId:
    return rnd.choice([*(force.id for force in round_.forces), ForceId("none")])


def _question(round_: Round, rnd: Random) -> QuestionId:
    return rnd.choice([*(q.id for q in round_.questions), QuestionId("none")])


def _plan(round_: Round, rnd: Random) -> PlanId:
    return rnd.choice([*round_.plans, *round_.choices, PlanId("none")])


def _option(round_: Round, rnd: Random) -> str:
    return rnd.choice([*ballots.options(round_), *(force.id for force in round_.forces), "none"])


def _when(rnd: Random, now: datetime) -> datetime:
    return now + timedelta(days=rnd.choice((-40, -1, 0, 1, 6, 8, 20, 30, 45, 100)), minutes=rnd.choice((-1, 0, 1)))


def _action(round_: Round, rnd: Random, due: datetime) -> Action:
    return Action("a", "When it is ten, I call", rnd.choice([*round_.seats, STRANGER, *round_.active()]), due)


def _side(rnd: Random) -> Side:
    return rnd.choice(list(Side))


Make = Callable[[Wild, Round, Random, datetime, int], Command]


def _found(round_: Round, rnd: Random) -> dict[MemberId, tuple[tuple[str, str], ...]]:
    """What a platform might show of reactions: by members and by others, on options and elsewhere."""
    return {
        anybody(round_, rnd): tuple((_option(round_, rnd), rnd.choice(SIGNS[1:5])) for _ in range(rnd.randrange(5)))
        for _ in range(3)
    }


def _proposals(round_: Round, rnd: Random) -> tuple[MergeProposal, ...]:
    return tuple(MergeProposal(_note(round_, rnd), _note(round_, rnd), 0.8, "alike") for _ in range(rnd.randrange(3)))


def _window(by: MemberId, rnd: Random, now: datetime) -> SetWindow:
    opens = now + timedelta(hours=rnd.choice((-1, 0, 0, 3)))
    return SetWindow(by, opens, opens + timedelta(hours=rnd.choice((-1, 1, 20))))


def _parts(by: MemberId, whose: MemberId, rnd: Random, now: datetime) -> SetParts:
    return SetParts(by, {whose: now + timedelta(hours=rnd.randrange(9))})


def _any_plan(wild: Wild, round_: Round, rnd: Random, by: MemberId) -> HandInPlan:
    plan = wild.plan(round_, rnd, by).plan
    changed = replace(
        plan,
        id=_plan(round_, rnd) if rnd.random() < 0.5 else plan.id,
        author=anybody(round_, rnd),
        weeks=rnd.choice((0, 3, 6, 7)),
        chance=rnd.choice((None, -1, 50, 101)),
        question=_question(round_, rnd),
        title=rnd.choice((plan.title, *BAD_TEXTS)),
        criterion=_any_criterion(wild, rnd),
    )
    return HandInPlan(by, changed)


def _odds(rnd: Random) -> Odds:
    share = rnd.random()
    return Odds({"reached": share, "better": 1 - share}, {"not reached": 1.0})


def _any_criterion(wild: Wild, rnd: Random) -> Criterion:
    number = rnd.choice((None, 0.1, float("nan"), float("inf"), -3.0))
    return rnd.choice((criterion(), criterion(target=number), Criterion(measure=wild.text(rnd)), criterion(harm="")))


_KINDS: tuple[Make, ...] = (
    lambda w, r, x, t, k: Start(anybody(r, x)),
    lambda w, r, x, t, k: _window(anybody(r, x), x, t),
    lambda w, r, x, t, k: _window(BOT, x, t),
    lambda w, r, x, t, k: _parts(x.choice((BOT, anybody(r, x))), anybody(r, x), x, t),
    lambda w, r, x, t, k: Forget(anybody(r, x)),
    lambda w, r, x, t, k: MakeUp(anybody(r, x), t + timedelta(hours=5)),
    lambda w, r, x, t, k: MakeUp(BOT, t + timedelta(hours=x.choice((-1, 1, 30)))),
    lambda w, r, x, t, k: TellDates(anybody(r, x), {r.step: t}),
    lambda w, r, x, t, k: TellDates(BOT, {r.step: t}),
    lambda w, r, x, t, k: TellCount(anybody(r, x)),
    lambda w, r, x, t, k: TellCount(BOT),
    lambda w, r, x, t, k: Close(anybody(r, x), x.choice(("facilitator", "due", "all in"))),
    lambda w, r, x, t, k: Extend(anybody(r, x)),
    lambda w, r, x, t, k: Hold(anybody(r, x), x.choice(list(Deciding)), _lever(r, x), x.choice((w.text(x), "so"))),
    lambda w, r, x, t, k: Reword(anybody(r, x), w.text(x)),
    lambda w, r, x, t, k: SetUpAnew(
        anybody(r, x), w.word(), replace(r.settings, question="Why?"), anybody(r, x), anybody(r, x), anybody(r, x)
    ),
    lambda w, r, x, t, k: TakeOff(anybody(r, x), anybody(r, x)),
    lambda w, r, x, t, k: SetDeadline(anybody(r, x), _when(x, t)),
    lambda w, r, x, t, k: SetLengths(
        anybody(r, x), {x.choice(list(rules.RULES)): x.choice((-1, 1, 8, 500)) for _ in range(x.randrange(3))},
        x.choice((None, 1)),
    ),
    lambda w, r, x, t, k: StepBack(anybody(r, x)),
    lambda w, r, x, t, k: GiveDots(anybody(r, x), x.choice((0, 3, 5, 500))),
    lambda w, r, x, t, k: OpenAgain(anybody(r, x), x.choice(list(Step))),
    lambda w, r, x, t, k: Undo(anybody(r, x)),
    lambda w, r, x, t, k: AnnounceNow(anybody(r, x)),
    lambda w, r, x, t, k: GoOnWithout(anybody(r, x)),
    lambda w, r, x, t, k: Pause(anybody(r, x)),
    lambda w, r, x, t, k: Resume(anybody(r, x)),
    lambda w, r, x, t, k: Cancel(anybody(r, x)) if x.random() < 0.1 else Cancel(STRANGER),
    lambda w, r, x, t, k: Done(anybody(r, x), x.random() < 0.7),
    lambda w, r, x, t, k: SetAway(anybody(r, x), anybody(r, x), x.random() < 0.5),
    lambda w, r, x, t, k: Leave(anybody(r, x), anybody(r, x)),
    lambda w, r, x, t, k: Join(anybody(r, x), x.choice((anybody(r, x), MemberId(w.number("m")))) or STRANGER, "New"),
    lambda w, r, x, t, k: HandOver(anybody(r, x), x.choice(list(Role)), x.random() < 0.6),
    lambda w, r, x, t, k: OfferRole(anybody(r, x), x.choice(list(Role)), anybody(r, x), _when(x, t)),
    lambda w, r, x, t, k: AnswerRole(_asked(r, x), x.choice(list(Role)), x.random() < 0.6),
    lambda w, r, x, t, k: KeepRole(anybody(r, x), x.choice(list(Role))),
    lambda w, r, x, t, k: OpenRole(x.choice((BOT, anybody(r, x))), x.choice(list(Role))),
    lambda w, r, x, t, k: TakeRole(anybody(r, x), x.choice(list(Role))),
    lambda w, r, x, t, k: NameDeputy(anybody(r, x), x.choice(list(Role)), anybody(r, x)),
    lambda w, r, x, t, k: ConfirmWeight(anybody(r, x)),
    lambda w, r, x, t, k: WriteNote(
        anybody(r, x), x.choice((_note(r, x), NoteId(w.number("n")))), x.choice((_lever(r, x), LeverId("none"))),
        _side(x), w.text(x), x.choice(("", w.word())),
    ),
    lambda w, r, x, t, k: EditNote(anybody(r, x), _note(r, x), w.text(x)),
    lambda w, r, x, t, k: WithdrawNote(anybody(r, x), _note(r, x)),
    lambda w, r, x, t, k: KeepDraft(anybody(r, x), NoteId(w.number("d")), w.text(x), w.word()),
    lambda w, r, x, t, k: DropDraft(anybody(r, x), _note(r, x)),
    lambda w, r, x, t, k: Consent(anybody(r, x)),
    lambda w, r, x, t, k: HideNote(anybody(r, x), _note(r, x), w.text(x)),
    lambda w, r, x, t, k: SettleLateNote(anybody(r, x), _note(r, x), x.choice(("post", "hold", "withdraw"))),
    lambda w, r, x, t, k: PickFocus(
        anybody(r, x), x.choice((_lever(r, x), LeverId("none"))), x.choice((REASON, "so"))
    ),
    lambda w, r, x, t, k: ProposeMerges(x.choice((BOT, anybody(r, x))), _proposals(r, x)),
    lambda w, r, x, t, k: AnswerMerge(anybody(r, x), _note(r, x), _note(r, x), x.random() < 0.7),
    lambda w, r, x, t, k: JoinForces(anybody(r, x), _force(r, x), _force(r, x)),
    lambda w, r, x, t, k: Jot(anybody(r, x), w.text(x)),
    lambda w, r, x, t, k: KeepPage(
        anybody(r, x), BeginningId(w.word()), x.choice(("plan", "precedent")), "", {"title": w.text(x)}
    ),
    lambda w, r, x, t, k: DropPage(anybody(r, x), x.choice((*r.begun, BeginningId("none")))),
    lambda w, r, x, t, k: SayTheSame(anybody(r, x), _force(r, x), _force(r, x)),
    lambda w, r, x, t, k: SplitForce(anybody(r, x), _force(r, x)),
    lambda w, r, x, t, k: CastVote(anybody(r, x), _option(r, x), x.choice(SIGNS)),
    lambda w, r, x, t, k: CastVote(anybody(r, x), _option(r, x), w.word()),
    lambda w, r, x, t, k: TakeBackVote(anybody(r, x), _option(r, x), x.choice(SIGNS)),
    lambda w, r, x, t, k: LockBallot(anybody(r, x)),
    lambda w, r, x, t, k: Reconcile(x.choice((BOT, anybody(r, x))), _found(r, x)),
    lambda w, r, x, t, k: WriteQuestion(anybody(r, x), _question(r, x), _force(r, x), w.text(x)),
    lambda w, r, x, t, k: DropQuestion(anybody(r, x), _question(r, x)),
    lambda w, r, x, t, k: SuggestQuestion(anybody(r, x), w.text(x)),
    lambda w, r, x, t, k: GivePrecedent(
        anybody(r, x), PrecedentId(x.choice(("x", w.number("x")))), _question(r, x), w.text(x)[:99], w.text(x)[:99]
    ),
    lambda w, r, x, t, k: _any_plan(w, r, x, anybody(r, x)),
    lambda w, r, x, t, k: WithdrawPlan(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: Compare(
        anybody(r, x), x.choice(list(Axis)), _plan(r, x), _plan(r, x), x.choice(("first", "second", "same"))
    ),
    lambda w, r, x, t, k: ChoosePlan(anybody(r, x), _plan(r, x), k, t, announce_at=x.choice((None, t))),
    lambda w, r, x, t, k: AnnounceChoice(x.choice((BOT, anybody(r, x))), _plan(r, x)),
    lambda w, r, x, t, k: ShowOffers(x.choice((BOT, anybody(r, x))), _plan(r, x)),
    lambda w, r, x, t, k: DropChoice(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: OfferToOwn(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: AskOwner(anybody(r, x), _plan(r, x), anybody(r, x)),
    lambda w, r, x, t, k: AnswerOwnership(anybody(r, x), _plan(r, x), x.random() < 0.6, x.choice(("", w.text(x)))),
    lambda w, r, x, t, k: SetActions(
        anybody(r, x), _plan(r, x), tuple(_action(r, x, _when(x, t)) for _ in range(x.randrange(3)))
    ),
    lambda w, r, x, t, k: SetLive(anybody(r, x), _plan(r, x), _when(x, t).date(), t.date(), _when(x, t)),
    lambda w, r, x, t, k: CompleteCriterion(anybody(r, x), _plan(r, x), _any_criterion(w, x)),
    lambda w, r, x, t, k: ShowOdds(x.choice((BOT, anybody(r, x))), _plan(r, x), _any_criterion(w, x), _odds(x)),
    lambda w, r, x, t, k: NameChecker(anybody(r, x), _plan(r, x), w.text(x)),
    lambda w, r, x, t, k: SetNextRound(anybody(r, x), _when(x, t)),
    lambda w, r, x, t, k: AcceptOverlap(anybody(r, x)),
    lambda w, r, x, t, k: Forecast(anybody(r, x), _plan(r, x), x.choice((-1, 0, 55, 100, 101)), w.text(x)),
    lambda w, r, x, t, k: SeeDigits(anybody(r, x), _plan(r, x), tuple(x.sample(range(11), x.randrange(4)))),
    lambda w, r, x, t, k: SettleFates(anybody(r, x), {_plan(r, x): _fate(r, x, _when(x, t))}),
    lambda w, r, x, t, k: KnowCorners(
        x.choice((BOT, anybody(r, x))), {_plan(r, x): Placed(x.choice(list(Corner)), x.random() < 0.5)}
    ),
    lambda w, r, x, t, k: FindCautions(
        x.choice((BOT, anybody(r, x))), _plan(r, x), x.choice(((), (Touches.PRICES,))), x.choice(((), ("a price",)))
    ),
    lambda w, r, x, t, k: SayNotSo(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: OrderLevers(
        BOT, NoteId(x.choice((*r.drafts, "d0"))), tuple(sorted(dict(r.settings.levers), key=lambda _: x.random()))
    ),
    lambda w, r, x, t, k: OrderQuestions(BOT, tuple(sorted((q.id for q in r.questions), key=lambda _: x.random()))),
    lambda w, r, x, t, k: OrderForPage(
        BOT,
        BeginningId(x.choice((*r.begun, "g0"))),
        tuple(sorted((q.id for q in r.questions), key=lambda _: x.random())),
    ),
    lambda w, r, x, t, k: FindEarlier(
        x.choice((BOT, anybody(r, x))), _plan(r, x), x.choice(((), (Earlier("t1", w.word(), "reached"),)))
    ),
    lambda w, r, x, t, k: FindKin(BOT, tuple(Kin(q.id, "Winter", w.word(), ("A story",)) for q in r.questions[:k])),
    lambda w, r, x, t, k: FindSamePeople(BOT, x.choice(((), (("New teams", "Teams that are new"),)))),
    lambda w, r, x, t, k: KnowChanges(x.choice((BOT, anybody(r, x))), (ToChange("t1", "A title"),)),
    lambda w, r, x, t, k: Commit(anybody(r, x), k),
)  # fmt: skip
