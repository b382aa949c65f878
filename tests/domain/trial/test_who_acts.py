"""Each ruling on a trial asks the one table itself, whoever has asked it before."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from coldframe.domain import who_may
from coldframe.domain.commands import Command
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial import checks, life
from coldframe.domain.trial import commands as c
from coldframe.domain.trial.state import Entry, Figures, Trial, TrialAction, TrialStep
from coldframe.domain.who_may import TABLE, Act, Who
from tests.domain.trial.test_building import NOW, PLANNED, REVIEW, being_built
from tests.speech.trials import FACILITATOR, OWNER

CHIEF, OTHER, DOER, DEPUTY, STRANGER = (MemberId(name) for name in ("chris", "otto", "dora", "dan", "nobody"))
EVERYBODY = {OWNER: "Mia", FACILITATOR: "Faye", CHIEF: "Chris", OTHER: "Otto", DOER: "Dora", DEPUTY: "Dan"}
ENTRY = Entry(1, Figures(58, 1000), Figures(40, 1000))
LATER = REVIEW + timedelta(weeks=1)


def a_trial(step: TrialStep) -> Trial:
    """In its second week, where it runs: the first is logged and crosses its stop line."""
    action = TrialAction("a1", "When it is ten I cut the form", DOER, NOW)
    common = {"people": EVERYBODY, "decision_maker": CHIEF, "deputy": DEPUTY, "actions": (action,)}
    if step is TrialStep.BUILDING:
        return being_built(**common)
    run = {"starts": PLANNED - timedelta(days=9), "live": PLANNED - timedelta(days=9), "weeks": {1: (ENTRY,)}}
    return being_built(
        **common, step=step, **run, stop_at=0.9, asked_to_sign=frozenset({DOER}), learnings={DOER: "much"}
    )


Asks = Callable[[MemberId], Command]
BUILDING, RUNNING, REVIEWING = TrialStep.BUILDING, TrialStep.RUNNING, TrialStep.IN_REVIEW
CASES: dict[str, tuple[Act, TrialStep, Asks]] = {
    "offer": (Act.FIND_OWNER, RUNNING, lambda by: c.OfferTrial(by, OTHER)),
    "take": (Act.OWN, RUNNING, lambda by: c.TakeTrial(by)),
    "give up": (Act.LOOK_AFTER, RUNNING, lambda by: c.GiveUp(by, "No time.")),
    "tick": (Act.FIRST_WEEK, RUNNING, lambda by: c.Tick(by, "a1")),
    "move an action": (Act.FIRST_WEEK, RUNNING, lambda by: c.MoveAction(by, "a1", NOW + timedelta(days=1))),
    "say what blocks": (Act.LOOK_AFTER, RUNNING, lambda by: c.SayWhatBlocks(by, "The tool")),
    "go live": (Act.GO_LIVE, BUILDING, lambda by: c.GoLive(by, PLANNED, PLANNED, REVIEW)),
    "move the day": (Act.GO_LIVE, BUILDING, lambda by: c.MoveLive(by, PLANNED, "Broke", PLANNED, LATER)),
    "agree on a day": (
        Act.LATE_BUILD,
        BUILDING,
        lambda by: c.MoveLive(by, PLANNED, "Broke", PLANNED, LATER, agreed=True),
    ),
    "make smaller": (Act.LATE_BUILD, BUILDING, lambda by: c.MakeSmaller(by, "Less", PLANNED, PLANNED, LATER)),
    "drop": (Act.LATE_BUILD, BUILDING, lambda by: c.DropTrial(by, "No money")),
    "drop what nobody owns": (Act.DROP, TrialStep.PROPOSED, lambda by: c.DropTrial(by)),
    "log": (Act.LOG, RUNNING, lambda by: c.LogWeek(by, ENTRY, PLANNED)),
    "say calm": (Act.LOG, RUNNING, lambda by: c.SayCalm(by, 1)),
    "check the counting": (Act.LOG, RUNNING, lambda by: c.CheckCounting(by, "By hand")),
    "settle": (Act.GUARD, RUNNING, lambda by: c.SettleCrossing(by, False, "It was a holiday.")),
    "stop": (Act.LOOK_AFTER, RUNNING, lambda by: c.StopEarly(by, "No use")),
    "learn": (Act.LEARN, RUNNING, lambda by: c.Learn(by, "People wait")),
    "move the review": (Act.REVIEW, RUNNING, lambda by: c.MoveReview(by, LATER, REVIEW)),
    "close the review": (Act.REVIEW, REVIEWING, lambda by: c.CloseReview(by, "Much", "change", "As said", "The form")),
    "sign": (Act.SIGN, RUNNING, lambda by: c.Sign(by, show=True)),
}
OWN = {"tick", "move an action", "sign"}
"""Of these Dora's is her own."""


@pytest.mark.parametrize("who", [*EVERYBODY, STRANGER])
@pytest.mark.parametrize("case", CASES)
def test_a_ruling_asks_the_table(case: str, who: MemberId) -> None:
    """Whoever the table does not let do it is refused with its reason, and nobody else by it."""
    act, step, asks = CASES[case]
    trial = a_trial(step)
    reasons = {TABLE[act].refusal, Because.NOT_A_MEMBER}
    assert _is_refused(trial, asks(who), reasons) is not _may(trial, case, act, who)


def _may(trial: Trial, case: str, act: Act, who: MemberId) -> bool:
    if case == "take" and who == trial.owner:
        return True  # and it changes nothing
    own = {Who.ITS_OWN} if case in OWN and who == DOER else set()
    return who in EVERYBODY and who_may.may(act, checks.in_trial(trial, who) | own)


def _is_refused(trial: Trial, command: Command, reasons: set[Because]) -> bool:
    try:
        life.decide(trial, command, NOW)
    except Refused as refused:
        return refused.code in reasons
    return False


def test_every_command_of_a_person_is_among_the_cases() -> None:
    """The bot's own, and answers to what one was asked, apart."""
    by_people = {type(asks(OWNER)) for _, _, asks in CASES.values()}
    others = {c.AnswerOffer, c.LeaveTrial, c.JoinTrial, c.ForgetIn, c.ChangeDecisionMaker, c.TakeReading, c.OpenReview}
    others |= {c.ForetellTrial}
    assert by_people | others == set(life._DECIDE)
