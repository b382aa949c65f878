"""Commands of every kind, by anybody, with anything in them; and the sensible ones that bring a round on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from random import Random

from coldframe.domain import commands as c
from coldframe.domain.names import (
    Axis,
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
)
from coldframe.domain.round import ballots, placement, rules
from coldframe.domain.state import Action, Criterion, MergeProposal, Round
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

    def command(self, round_: Round, rnd: Random, now: datetime, running: int) -> c.Command:
        """Any command, by anybody, about anything."""
        make = rnd.choice(_KINDS)
        return make(self, round_, rnd, now, running)

    # --- sensible ---

    def work(self, round_: Round, rnd: Random, now: datetime, running: int) -> Iterator[c.Command]:
        """What the people of the step would give, some more, some less."""
        if round_.paused or round_.step in (Step.SETUP, Step.FOCUS, Step.COMMITMENT):
            yield from self.move(round_, rnd, now, running) if rnd.random() < 0.6 else ()
        for member in rules.expected(round_) or round_.active():
            if round_.step is Step.NOTES and rnd.random() < 0.3:
                continue  # so that sometimes under three people write
            for _ in range(rnd.choice((0, 1, 1, 2, 3))):
                yield from self._give(round_, rnd, member)
            if rnd.random() < 0.5:
                yield c.Done(member)

    def _give(self, round_: Round, rnd: Random, member: MemberId) -> Iterator[c.Command]:
        match round_.step:
            case Step.NOTES:
                side = Side.RESTRAINING if rnd.random() < 0.8 else Side.DRIVING
                yield c.WriteNote(member, NoteId(self.number("n")), _lever(round_, rnd), side, self.text(rnd))
            case Step.MERGE if len(round_.forces) > 1:
                a, b = rnd.sample(round_.forces, 2)
                yield rnd.choice(
                    (
                        c.JoinForces(member, a.id, b.id),
                        c.ProposeMerges(c.BOT, (MergeProposal(a.notes[0], b.notes[0], 0.9, "alike"),)),
                        c.AnswerMerge(rnd.choice(round_.active() or (STRANGER,)), a.notes[0], b.notes[0], same=True),
                    )
                )
            case Step.DOTS | Step.BALLOT:
                if ballots.options(round_):
                    yield c.CastVote(member, rnd.choice(ballots.options(round_)), rnd.choice(SIGNS))
                if rnd.random() < 0.5:
                    yield c.LockBallot(member)
                yield from self._comparisons(round_, rnd, member)
            case Step.QUESTIONS:
                force = rnd.choice([s.option for s in round_.forces_standing if s.carried])
                yield c.WriteQuestion(member, QuestionId(self.number("q")), ForceId(force), self.text(rnd))
            case Step.PRECEDENTS:
                yield c.GivePrecedent(
                    member, PrecedentId(self.number("x")), rnd.choice(round_.questions).id, self.text(rnd)[:99], "Idea"
                )
            case Step.PLANS:
                yield self.plan(round_, rnd, member)
            case Step.PLACEMENT:
                yield from self._comparisons(round_, rnd, member)
            case _:
                return

    def _comparisons(self, round_: Round, rnd: Random, member: MemberId) -> Iterator[c.Command]:
        pair = placement.next_pair(round_, member)
        if pair is not None:
            yield c.Compare(member, *pair, rnd.choice(("first", "second", "same")))

    def plan(self, round_: Round, rnd: Random, member: MemberId) -> c.HandInPlan:
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
        return c.HandInPlan(member, plan)

    def move(self, round_: Round, rnd: Random, now: datetime, running: int) -> Iterator[c.Command]:
        """What whoever holds the role would do to bring the round on."""
        chief, lead = round_.roles.acting(Role.DECISION_MAKER), round_.roles.acting(Role.FACILITATOR)
        if round_.paused is not None:
            yield c.Resume(lead)
        match round_.step:
            case Step.SETUP:
                yield from (c.ConfirmWeight(lead), c.Start(lead))
            case Step.NOTES:
                yield c.Close(lead)
                if rnd.random() < 0.1:
                    yield c.Pause(lead)
                for member in round_.active():
                    yield c.Consent(member)
            case Step.FOCUS:
                yield from self._focus(round_, rnd, chief)
            case Step.COMMITMENT:
                yield from self._commitment(round_, rnd, now, lead, running)
            case _:
                yield c.Close(lead)

    def _focus(self, round_: Round, rnd: Random, chief: MemberId) -> Iterator[c.Command]:
        held_back = [n.lever for n in round_.notes.values() if n.side is Side.RESTRAINING and not n.hidden]
        if not held_back:
            late = NoteId(self.number("n"))
            yield c.WriteNote(chief, late, _lever(round_, rnd), Side.RESTRAINING, self.text(rnd))
            yield c.SettleLateNote(chief, late, "post")
        yield c.PickFocus(chief, rnd.choice(held_back or [_lever(round_, rnd)]), REASON)

    def _commitment(
        self, round_: Round, rnd: Random, now: datetime, lead: MemberId, running: int
    ) -> Iterator[c.Command]:
        for plan in rnd.sample(list(round_.plans), rnd.choice((1, 1, 2, 3)) % (len(round_.plans) + 1)):
            owner = rnd.choice(round_.active() or (STRANGER,))
            yield c.ChoosePlan(lead, plan, running)
            yield from (c.AskOwner(lead, plan, owner), c.AnswerOwnership(owner, plan, accept=rnd.random() < 0.9))
            yield c.CompleteCriterion(lead, plan, criterion())
            if rnd.random() < 0.7:
                yield c.NameChecker(lead, plan, "Privacy desk")
            if rnd.random() < 0.1:
                yield c.Leave(c.BOT, owner)
        for plan in round_.choices:
            yield c.SetActions(lead, plan, (_action(round_, rnd, now + timedelta(days=2)),))
            yield c.SetReview(lead, plan, now + timedelta(days=50))
            yield c.Forecast(lead, plan, 60, self.word())
        yield c.SetNextRound(lead, now + timedelta(days=70))
        if rnd.random() < 0.5:
            yield c.AcceptOverlap(lead)
        yield c.Commit(lead, running)


# --- pieces -----------------------------------------------------------------------------------------------------


def _lever(round_: Round, rnd: Random) -> LeverId:
    return rnd.choice(round_.settings.levers)[0]


def anybody(round_: Round, rnd: Random) -> MemberId:
    """A member, present or gone; whoever holds a role; a stranger; time itself."""
    seats = list(round_.seats)
    roles = [round_.roles.acting(role) for role in Role]
    deputies = [round_.roles.deputy(role) or STRANGER for role in Role]
    return rnd.choice([*seats, *roles, *roles, *deputies, STRANGER, c.BOT])


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


Make = Callable[[Wild, Round, Random, datetime, int], c.Command]


def _found(round_: Round, rnd: Random) -> dict[MemberId, tuple[tuple[str, str], ...]]:
    """What a platform might show of reactions: by members and by others, on options and elsewhere."""
    return {
        anybody(round_, rnd): tuple((_option(round_, rnd), rnd.choice(SIGNS[1:5])) for _ in range(rnd.randrange(5)))
        for _ in range(3)
    }


def _proposals(round_: Round, rnd: Random) -> tuple[MergeProposal, ...]:
    return tuple(MergeProposal(_note(round_, rnd), _note(round_, rnd), 0.8, "alike") for _ in range(rnd.randrange(3)))


def _window(by: MemberId, rnd: Random, now: datetime) -> c.SetWindow:
    opens = now + timedelta(hours=rnd.choice((-1, 0, 0, 3)))
    return c.SetWindow(by, opens, opens + timedelta(hours=rnd.choice((-1, 1, 20))))


def _any_plan(wild: Wild, round_: Round, rnd: Random, by: MemberId) -> c.HandInPlan:
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
    return c.HandInPlan(by, changed)


def _any_criterion(wild: Wild, rnd: Random) -> Criterion:
    number = rnd.choice((None, 0.1, float("nan"), float("inf"), -3.0))
    return rnd.choice((criterion(), criterion(target=number), Criterion(measure=wild.text(rnd)), criterion(harm="")))


_KINDS: tuple[Make, ...] = (
    lambda w, r, x, t, k: c.Start(anybody(r, x)),
    lambda w, r, x, t, k: _window(anybody(r, x), x, t),
    lambda w, r, x, t, k: _window(c.BOT, x, t),
    lambda w, r, x, t, k: c.Forget(anybody(r, x)),
    lambda w, r, x, t, k: c.MakeUp(anybody(r, x), t + timedelta(hours=5)),
    lambda w, r, x, t, k: c.MakeUp(c.BOT, t + timedelta(hours=x.choice((-1, 1, 30)))),
    lambda w, r, x, t, k: c.TellDates(anybody(r, x), {r.step: t}),
    lambda w, r, x, t, k: c.TellDates(c.BOT, {r.step: t}),
    lambda w, r, x, t, k: c.Close(anybody(r, x), x.choice(("facilitator", "due", "all in"))),
    lambda w, r, x, t, k: c.Extend(anybody(r, x)),
    lambda w, r, x, t, k: c.Pause(anybody(r, x)),
    lambda w, r, x, t, k: c.Resume(anybody(r, x)),
    lambda w, r, x, t, k: c.Cancel(anybody(r, x)) if x.random() < 0.1 else c.Cancel(STRANGER),
    lambda w, r, x, t, k: c.Done(anybody(r, x), x.random() < 0.7),
    lambda w, r, x, t, k: c.SetAway(anybody(r, x), anybody(r, x), x.random() < 0.5),
    lambda w, r, x, t, k: c.Leave(anybody(r, x), anybody(r, x)),
    lambda w, r, x, t, k: c.Join(anybody(r, x), x.choice((anybody(r, x), MemberId(w.number("m")))) or STRANGER, "New"),
    lambda w, r, x, t, k: c.HandOver(anybody(r, x), x.choice(list(Role)), x.random() < 0.6),
    lambda w, r, x, t, k: c.ConfirmWeight(anybody(r, x)),
    lambda w, r, x, t, k: c.WriteNote(
        anybody(r, x), x.choice((_note(r, x), NoteId(w.number("n")))), x.choice((_lever(r, x), LeverId("none"))),
        _side(x), w.text(x), x.choice(("", w.word())),
    ),
    lambda w, r, x, t, k: c.EditNote(anybody(r, x), _note(r, x), w.text(x)),
    lambda w, r, x, t, k: c.WithdrawNote(anybody(r, x), _note(r, x)),
    lambda w, r, x, t, k: c.KeepDraft(anybody(r, x), NoteId(w.number("d")), w.text(x), w.word()),
    lambda w, r, x, t, k: c.DropDraft(anybody(r, x), _note(r, x)),
    lambda w, r, x, t, k: c.Consent(anybody(r, x)),
    lambda w, r, x, t, k: c.HideNote(anybody(r, x), _note(r, x), w.text(x)),
    lambda w, r, x, t, k: c.SettleLateNote(anybody(r, x), _note(r, x), x.choice(("post", "hold", "withdraw"))),
    lambda w, r, x, t, k: c.PickFocus(
        anybody(r, x), x.choice((_lever(r, x), LeverId("none"))), x.choice((REASON, "so"))
    ),
    lambda w, r, x, t, k: c.ProposeMerges(x.choice((c.BOT, anybody(r, x))), _proposals(r, x)),
    lambda w, r, x, t, k: c.AnswerMerge(anybody(r, x), _note(r, x), _note(r, x), x.random() < 0.7),
    lambda w, r, x, t, k: c.JoinForces(anybody(r, x), _force(r, x), _force(r, x)),
    lambda w, r, x, t, k: c.SplitForce(anybody(r, x), _force(r, x)),
    lambda w, r, x, t, k: c.CastVote(anybody(r, x), _option(r, x), x.choice(SIGNS)),
    lambda w, r, x, t, k: c.CastVote(anybody(r, x), _option(r, x), w.word()),
    lambda w, r, x, t, k: c.TakeBackVote(anybody(r, x), _option(r, x), x.choice(SIGNS)),
    lambda w, r, x, t, k: c.LockBallot(anybody(r, x)),
    lambda w, r, x, t, k: c.Reconcile(x.choice((c.BOT, anybody(r, x))), _found(r, x)),
    lambda w, r, x, t, k: c.WriteQuestion(anybody(r, x), _question(r, x), _force(r, x), w.text(x)),
    lambda w, r, x, t, k: c.DropQuestion(anybody(r, x), _question(r, x)),
    lambda w, r, x, t, k: c.SuggestQuestion(anybody(r, x), w.text(x)),
    lambda w, r, x, t, k: c.GivePrecedent(
        anybody(r, x), PrecedentId(x.choice(("x", w.number("x")))), _question(r, x), w.text(x)[:99], w.text(x)[:99]
    ),
    lambda w, r, x, t, k: _any_plan(w, r, x, anybody(r, x)),
    lambda w, r, x, t, k: c.WithdrawPlan(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: c.Compare(
        anybody(r, x), x.choice(list(Axis)), _plan(r, x), _plan(r, x), x.choice(("first", "second", "same"))
    ),
    lambda w, r, x, t, k: c.ChoosePlan(anybody(r, x), _plan(r, x), k, t),
    lambda w, r, x, t, k: c.DropChoice(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: c.OfferToOwn(anybody(r, x), _plan(r, x)),
    lambda w, r, x, t, k: c.AskOwner(anybody(r, x), _plan(r, x), anybody(r, x)),
    lambda w, r, x, t, k: c.AnswerOwnership(anybody(r, x), _plan(r, x), x.random() < 0.6, x.choice(("", w.text(x)))),
    lambda w, r, x, t, k: c.SetActions(
        anybody(r, x), _plan(r, x), tuple(_action(r, x, _when(x, t)) for _ in range(x.randrange(3)))
    ),
    lambda w, r, x, t, k: c.SetReview(anybody(r, x), _plan(r, x), _when(x, t)),
    lambda w, r, x, t, k: c.CompleteCriterion(anybody(r, x), _plan(r, x), _any_criterion(w, x)),
    lambda w, r, x, t, k: c.NameChecker(anybody(r, x), _plan(r, x), w.text(x)),
    lambda w, r, x, t, k: c.SetNextRound(anybody(r, x), _when(x, t)),
    lambda w, r, x, t, k: c.AcceptOverlap(anybody(r, x)),
    lambda w, r, x, t, k: c.Forecast(anybody(r, x), _plan(r, x), x.choice((-1, 0, 55, 100, 101)), w.text(x)),
    lambda w, r, x, t, k: c.Commit(anybody(r, x), k),
)  # fmt: skip
