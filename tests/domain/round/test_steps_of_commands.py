"""Each ruling on a round knows its steps itself: before them it is not yet, after them late, and at the end ended."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from functools import cache

import pytest

from coldframe.domain.commands import BOT, Command
from coldframe.domain.likes import Earlier
from coldframe.domain.names import (
    RUNNING,
    BeginningId,
    Deciding,
    ForceId,
    NoteId,
    PlanId,
    PrecedentId,
    QuestionId,
    Role,
)
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import choosing as ch
from coldframe.domain.round import commitment as co
from coldframe.domain.round import correcting as cr
from coldframe.domain.round import likening as li
from coldframe.domain.round import merging as me
from coldframe.domain.round import moves as mo
from coldframe.domain.round import notes as no
from coldframe.domain.round import plans as pl
from coldframe.domain.round import questions as qu
from coldframe.domain.round.ballots import LockBallot
from coldframe.domain.round.fates import SettleFates
from coldframe.domain.round.jotting import Jot
from coldframe.domain.round.life import decide
from coldframe.domain.round.pages import KeepPage
from coldframe.domain.round.reopening import OpenAgain
from coldframe.domain.round.roles import NameDeputy, OfferRole, TakeRole
from coldframe.domain.round.undoing import Hold
from coldframe.domain.state import Round, Step
from tests.domain.play import FD, OTHERS, REASON, RETENTION, D, F, Play, a_plan, criterion

INES, JON = OTHERS[:2]
ANY = (Step.SETUP, *RUNNING)
OTHER_STEP = {Because.ENDED, Because.TOO_LATE, Because.NOT_OPEN_YET}
PLAN, QUESTION, LATER = PlanId("p0"), QuestionId("q1"), timedelta(days=3)
Asks = Callable[[Play], Command]
AFTER_PLANS = (Step.BALLOT, Step.PLACEMENT, Step.COMMITMENT)
BEFORE_DOTS = tuple(step for step in ANY if list(Step).index(step) < list(Step).index(Step.DOTS))

CASES: dict[str, tuple[tuple[Step, ...], Asks]] = {
    "start": ((Step.SETUP,), lambda p: mo.Start(F)),
    "set a window": (RUNNING, lambda p: mo.SetWindow(BOT, p.now, p.now + LATER)),
    "set parts": (RUNNING, lambda p: mo.SetParts(BOT, {INES: p.now + LATER})),
    "make up": (RUNNING, lambda p: mo.MakeUp(BOT, p.now + LATER)),
    "be done": (RUNNING, lambda p: mo.Done(INES)),
    "extend": (RUNNING, lambda p: mo.Extend(F)),
    "pause": (RUNNING, lambda p: mo.Pause(F)),
    "cancel": (ANY, lambda p: mo.Cancel(F, "No budget.")),
    "close": (RUNNING, lambda p: mo.Close(F)),
    "consent": ((Step.NOTES,), lambda p: no.Consent(INES)),
    "edit a note": ((Step.NOTES,), lambda p: no.EditNote(INES, NoteId("n0"), "Other words")),
    "withdraw a note": ((Step.NOTES,), lambda p: no.WithdrawNote(INES, NoteId("n0"))),
    "pick": ((Step.FOCUS,), lambda p: me.PickFocus(D, RETENTION, REASON)),
    "propose merges": ((Step.MERGE,), lambda p: me.ProposeMerges(BOT, ())),
    "answer a merge": ((Step.MERGE,), lambda p: me.AnswerMerge(F, NoteId("n0"), NoteId("n1"), same=True)),
    "join": ((Step.MERGE,), lambda p: me.JoinForces(F, ForceId("n0"), ForceId("n1"))),
    "say the same": ((Step.MERGE,), lambda p: me.SayTheSame(INES, ForceId("n0"), ForceId("n1"))),
    "split": ((Step.MERGE,), lambda p: me.SplitForce(F, ForceId("n0"))),
    "lock": ((Step.DOTS, Step.BALLOT), lambda p: LockBallot(INES)),
    "write a question": ((Step.QUESTIONS,), lambda p: qu.WriteQuestion(F, QUESTION, ForceId("n0"), "How?")),
    "drop a question": ((Step.QUESTIONS,), lambda p: qu.DropQuestion(F, QUESTION)),
    "suggest a question": ((Step.QUESTIONS,), lambda p: qu.SuggestQuestion(INES, "How might we ask?")),
    "give a precedent": (
        (Step.PRECEDENTS,), lambda p: qu.GivePrecedent(INES, PrecedentId("x9"), QUESTION, "Winter", "An idea"),
    ),
    "jot": ((Step.PRECEDENTS, Step.PLANS), lambda p: Jot(INES, "A thought")),
    "begin a plan": ((Step.PLANS,), lambda p: KeepPage(INES, BeginningId("g1"), "plan", "", {"title": "A"})),
    "begin a precedent": (
        (Step.PRECEDENTS,), lambda p: KeepPage(INES, BeginningId("g2"), "precedent", "", {"title": "A"}),
    ),
    "hand a plan in": ((Step.PLANS,), lambda p: pl.HandInPlan(JON, a_plan("p9", question=p.first_question()))),
    "withdraw a plan": ((Step.PLANS,), lambda p: pl.WithdrawPlan(INES, PLAN)),
    "say not so": ((Step.PLANS,), lambda p: pl.SayNotSo(INES, PLAN)),
    "find cautions": ((Step.PLANS, *AFTER_PLANS), lambda p: pl.FindCautions(BOT, PLAN, (), ())),
    "name a checker": (AFTER_PLANS, lambda p: co.NameChecker(F, PLAN, "The privacy desk")),
    "find earlier": ((Step.PLANS,), lambda p: li.FindEarlier(BOT, PLAN, (Earlier("t1", "A title", "reached"),))),
    "find the same people": ((Step.COMMITMENT,), lambda p: li.FindSamePeople(BOT, (("All", "All of them"),))),
    "choose": ((Step.COMMITMENT,), lambda p: ch.ChoosePlan(F, PLAN, 0, p.now)),
    "drop a choice": ((Step.COMMITMENT,), lambda p: ch.DropChoice(F, PLAN)),
    "ask an owner": ((Step.COMMITMENT,), lambda p: ch.AskOwner(F, PLAN, INES)),
    "settle fates": ((Step.COMMITMENT,), lambda p: SettleFates(F, {})),
    "set the next round": ((Step.COMMITMENT,), lambda p: co.SetNextRound(F, p.now + timedelta(days=70))),
    "commit": ((Step.COMMITMENT,), lambda p: co.Commit(F, 0)),
    "complete a criterion": ((Step.COMMITMENT,), lambda p: co.CompleteCriterion(F, PLAN, criterion())),
    "reword": (ANY, lambda p: cr.Reword(F, "Where do we lose them?")),
    "take off": (ANY, lambda p: cr.TakeOff(F, JON)),
    "set a deadline": (RUNNING, lambda p: cr.SetDeadline(F, p.now + LATER)),
    "set lengths": (ANY, lambda p: cr.SetLengths(F, {}, None)),
    "give dots": (BEFORE_DOTS, lambda p: cr.GiveDots(F, 5)),
    "open again": (RUNNING, lambda p: OpenAgain(F, Step.MERGE)),
    "offer a role": (ANY, lambda p: OfferRole(F, Role.FACILITATOR, INES, p.now + LATER)),
    "take a role": (ANY, lambda p: TakeRole(FD, Role.FACILITATOR)),
    "name a deputy": (ANY, lambda p: NameDeputy(F, Role.FACILITATOR, INES)),
    "hold a close": (RUNNING, lambda p: Hold(F, Deciding.CLOSE)),
}  # fmt: skip
STANDS = (*ANY, Step.COMMITTED)


class _At(Play):
    """A round at a step, with the ids that the commands speak of."""

    def first_question(self) -> QuestionId:
        return self.round.questions[0].id if self.round.questions else QUESTION


@cache
def _at(step: Step) -> _At:
    play = _At()
    if step is not Step.SETUP:
        play.to(step)
    return play


@pytest.mark.parametrize("case", CASES)
def test_a_command_belongs_to_its_steps(case: str) -> None:
    """Elsewhere it is refused for the step alone, and there never."""
    steps, asks = CASES[case]
    wrong = [step.value for step in STANDS if _is_of_another(_at(step), asks) is (step in steps)]
    assert wrong == []


def _is_of_another(play: _At, asks: Asks) -> bool:
    try:
        decide(play.round, asks(play), play.now)
    except Refused as refused:
        return refused.code in OTHER_STEP
    return False


def test_what_ended_without_a_commitment_takes_nothing() -> None:
    """Whoever asks hears that it has ended."""
    play = _At().to(Step.NOTES)
    play.do(mo.Cancel(F, "No budget."))
    assert isinstance(play, _At) and isinstance(play.round, Round)
    assert [case for case, (_, asks) in CASES.items() if not _is_of_another(play, asks)] == []
