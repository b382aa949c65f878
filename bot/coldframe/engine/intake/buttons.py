"""Buttons: each action name with the command or the form it stands for."""

from __future__ import annotations

from coldframe.domain.commands import (
    AcceptOverlap,
    AnswerMerge,
    AnswerOwnership,
    CastVote,
    ChoosePlan,
    Commit,
    Compare,
    ConfirmWeight,
    Consent,
    Done,
    DropChoice,
    DropDraft,
    DropQuestion,
    Extend,
    LockBallot,
    OfferToOwn,
    SettleLateNote,
    Start,
    TakeBackVote,
    WithdrawNote,
    WithdrawPlan,
    WriteNote,
)
from coldframe.domain.names import Axis, LeverId, MemberId, NoteId, PlanId, QuestionId, Side, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.ballots import BUTTON
from coldframe.engine.core.requests import OPENS, Handler, Press, in_step
from coldframe.engine.core.turn import Turn
from coldframe.engine.intake import texts
from coldframe.engine.people import personal
from coldframe.engine.round import closing, holdups
from coldframe.engine.trial import trials
from coldframe.ports.chat import Inbound, Pressed, Reply
from coldframe.speech import answers
from coldframe.speech.round import commitment_words, late_words


async def pressed(turn: Turn, event: Inbound, what: Pressed) -> Reply:
    """Carries out a button. Unknown actions and made-up values are refused without a change."""
    if what.action in personal.PRESSES:
        return await personal.PRESSES[what.action](turn, event, what.value)
    if what.action in trials.PRESSES:
        return await trials.PRESSES[what.action](turn, event, what.value)
    if what.action in holdups.PRESSES:
        return await holdups.PRESSES[what.action](turn, event, what.value)
    handler = HANDLERS.get(what.action)
    if handler is None:
        raise Refused(Because.UNKNOWN_ITEM)
    round_id, *parts = what.value.split("|")
    round_ = await turn.round(round_id)
    if event.person not in round_.seats or round_.tenant != event.place.tenant:
        raise Refused(Because.NOT_A_MEMBER)
    return await handler(Press(turn, event, MemberId(event.person), round_, tuple(parts)))


# --- commands ---


async def _done(press: Press) -> Reply:
    await press.turn.act(press.round, Done(press.by))
    return press.said(answers.done(True))


async def _undone(press: Press) -> Reply:
    await press.turn.act(press.round, Done(press.by, done=False))
    return press.said(answers.done(False))


async def _close(press: Press) -> Reply:
    await closing.by_hand(press.turn, press.round, press.by)
    return Reply()


async def _extend(press: Press) -> Reply:
    await press.turn.act(press.round, Extend(press.by))
    return Reply()


async def _start(press: Press) -> Reply:
    await press.turn.act(press.round, Start(press.by))
    return Reply()


async def _confirm_weight(press: Press) -> Reply:
    round_ = await press.turn.act(press.round, ConfirmWeight(press.by))
    await press.turn.act(round_, Start(press.by))
    return Reply()


async def _withdraw_note(press: Press) -> Reply:
    await press.turn.act(press.round, WithdrawNote(press.by, NoteId(press.part(0))))
    return Reply()


async def _consent(press: Press) -> Reply:
    await press.turn.act(press.round, Consent(press.by))
    press.turn.answer(press.round.tenant, press.by, answers.consent_kept())
    return Reply()


async def _place_draft(press: Press) -> Reply:
    """The writer has said where a text belongs: it becomes one note, or one for each line."""
    draft = press.round.drafts.get(NoteId(press.part(0)))
    if draft is None or draft.author != press.by:
        raise Refused(Because.UNKNOWN_ITEM)
    lever, side, amount = LeverId(press.part(1)), _side(press.part(2)), press.part(3)
    pieces = [p.strip() for p in draft.text.split("\n") if p.strip()] if amount == "each" else [draft.text]
    ids = [NoteId(press.turn.kit.ids.new("n")) for _ in pieces]
    notes = [WriteNote(press.by, i, lever, side, piece, draft.origin) for i, piece in zip(ids, pieces, strict=True)]
    round_ = await press.turn.act_all(press.round, [*notes, DropDraft(press.by, draft.id)])
    press.turn.revise_own(round_, press.by, "draft", answers.draft_placed(len(pieces)), draft.id)
    return Reply()


def _side(word: str) -> Side:
    if word not in (Side.DRIVING, Side.RESTRAINING):
        raise Refused(Because.UNKNOWN_ITEM)
    return Side(word)


async def _drop_draft(press: Press) -> Reply:
    draft = NoteId(press.part(0))
    round_ = await press.turn.act(press.round, DropDraft(press.by, draft))
    press.turn.revise_own(round_, press.by, "draft", answers.draft_dropped(), draft)
    return Reply()


def _late(choice: str) -> Handler:
    async def handler(press: Press) -> Reply:
        note = NoteId(press.part(0))
        await press.turn.act(press.round, SettleLateNote(press.by, note, choice))  # type: ignore[arg-type]
        press.turn.answer(press.round.tenant, press.by, late_words.settled(choice))
        return Reply()

    return handler


def _merge(same: bool) -> Handler:
    async def handler(press: Press) -> Reply:
        command = AnswerMerge(press.by, NoteId(press.part(0)), NoteId(press.part(1)), same)
        await press.turn.act(press.round, command)
        return press.said(answers.merge_answered(same))

    return handler


async def _cast(press: Press) -> Reply:
    _same_ballot(press)
    await press.turn.act(press.round, CastVote(press.by, press.part(0), BUTTON))
    return Reply()


async def _back(press: Press) -> Reply:
    _same_ballot(press)
    await press.turn.act(press.round, TakeBackVote(press.by, press.part(0), BUTTON))
    return Reply()


def _same_ballot(press: Press) -> None:
    """A button of an old ballot is answered with where the round is now."""
    if press.round.ledger() is None:
        in_step(press, Step.DOTS if press.part(0).startswith("f-") else Step.BALLOT)


async def _lock(press: Press) -> Reply:
    await press.turn.act(press.round, LockBallot(press.by))
    return Reply()


def _compare(outcome: str) -> Handler:
    async def handler(press: Press) -> Reply:
        if press.part(0) not in (Axis.IMPACT, Axis.EFFORT):
            raise Refused(Because.UNKNOWN_ITEM)
        axis, first, second = Axis(press.part(0)), PlanId(press.part(1)), PlanId(press.part(2))
        await press.turn.act(press.round, Compare(press.by, axis, first, second, outcome))  # type: ignore[arg-type]
        return Reply()

    return handler


async def _drop_question(press: Press) -> Reply:
    await press.turn.act(press.round, DropQuestion(press.by, QuestionId(press.part(0))))
    return Reply()


async def _withdraw_plan(press: Press) -> Reply:
    await press.turn.act(press.round, WithdrawPlan(press.by, PlanId(press.part(0))))
    return Reply()


async def _choose(press: Press) -> Reply:
    running, free_on = await trials.places(press.turn, press.round)
    beside = await trials.measured_now(press.turn, press.round)
    await press.turn.act(press.round, ChoosePlan(press.by, PlanId(press.part(0)), running, free_on, beside))
    return Reply()


async def _drop_choice(press: Press) -> Reply:
    await press.turn.act(press.round, DropChoice(press.by, PlanId(press.part(0))))
    return Reply()


async def _offer(press: Press) -> Reply:
    plan = PlanId(press.part(0))
    after = await press.turn.act(press.round, OfferToOwn(press.by, plan))
    owns = after.choices[plan].owner == press.by
    words = commitment_words.you_own_it() if owns else commitment_words.offer_noted()
    press.turn.answer(press.round.tenant, press.by, words)
    return Reply()


async def _accept(press: Press) -> Reply:
    await press.turn.act(press.round, AnswerOwnership(press.by, PlanId(press.part(0)), accept=True))
    press.turn.answer(press.round.tenant, press.by, commitment_words.you_own_it())
    return Reply()


async def _overlap(press: Press) -> Reply:
    await press.turn.act(press.round, AcceptOverlap(press.by))
    return Reply()


async def _commit(press: Press) -> Reply:
    running, _ = await trials.places(press.turn, press.round)
    await press.turn.act(press.round, Commit(press.by, running))
    return Reply()


HANDLERS: dict[str, Handler] = {
    **OPENS,
    **texts.PRESSES,
    "note.withdraw": _withdraw_note,
    "note.consent": _consent,
    "draft.place": _place_draft,
    "draft.drop": _drop_draft,
    "late.post": _late("post"),
    "late.hold": _late("hold"),
    "late.withdraw": _late("withdraw"),
    "step.done": _done,
    "step.undone": _undone,
    "step.close": _close,
    "step.extend": _extend,
    "round.start": _start,
    "round.confirm": _confirm_weight,
    "round.commit": _commit,
    "merge.yes": _merge(True),
    "merge.no": _merge(False),
    "vote.cast": _cast,
    "vote.back": _back,
    "ballot.lock": _lock,
    "compare.first": _compare("first"),
    "compare.second": _compare("second"),
    "compare.same": _compare("same"),
    "question.drop": _drop_question,
    "plan.withdraw": _withdraw_plan,
    "choice.make": _choose,
    "choice.drop": _drop_choice,
    "owner.offer": _offer,
    "owner.accept": _accept,
    "overlap.accept": _overlap,
}
