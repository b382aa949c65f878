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
from coldframe.domain.names import Axis, LeverId, NoteId, PlanId, QuestionId, Side, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.ballots import BUTTON
from coldframe.engine.core.requests import RoundAnswer, RoundRequest, in_step, of_round
from coldframe.engine.round import closing
from coldframe.engine.trial import places
from coldframe.ports.chat import Reply
from coldframe.speech import answers
from coldframe.speech.round import commitment_words, late_words

# --- commands ---


async def _done(request: RoundRequest) -> Reply | None:
    await request.act(Done(request.by))
    return request.noted(answers.done(True))


async def _undone(request: RoundRequest) -> Reply | None:
    await request.act(Done(request.by, done=False))
    return request.noted(answers.done(False))


async def _close(request: RoundRequest) -> Reply | None:
    await closing.by_hand(request.turn, request.round, request.by)
    return Reply()


async def _extend(request: RoundRequest) -> Reply | None:
    await request.act(Extend(request.by))
    return Reply()


async def _start(request: RoundRequest) -> Reply | None:
    await request.act(Start(request.by))
    return Reply()


async def _confirm_weight(request: RoundRequest) -> Reply | None:
    round_ = await request.act(ConfirmWeight(request.by))
    await request.turn.act(round_, Start(request.by))
    return Reply()


async def _withdraw_note(request: RoundRequest) -> Reply | None:
    await request.act(WithdrawNote(request.by, NoteId(request.part(0))))
    return Reply()


async def _consent(request: RoundRequest) -> Reply | None:
    await request.act(Consent(request.by))
    request.answer(answers.consent_kept())
    return Reply()


async def _place_draft(request: RoundRequest) -> Reply | None:
    """The writer has said where a text belongs: it becomes one note, or one for each line."""
    draft = request.round.drafts.get(NoteId(request.part(0)))
    if draft is None or draft.author != request.by:
        raise Refused(Because.UNKNOWN_ITEM)
    lever, side, amount = LeverId(request.part(1)), _side(request.part(2)), request.part(3)
    pieces = [p.strip() for p in draft.text.split("\n") if p.strip()] if amount == "each" else [draft.text]
    ids = [NoteId(request.turn.kit.ids.new("n")) for _ in pieces]
    notes = [WriteNote(request.by, i, lever, side, piece, draft.origin) for i, piece in zip(ids, pieces, strict=True)]
    round_ = await request.turn.act_all(request.round, [*notes, DropDraft(request.by, draft.id)])
    request.turn.revise_own(round_, request.by, "draft", answers.draft_placed(len(pieces)), draft.id)
    return Reply()


def _side(word: str) -> Side:
    if word not in (Side.DRIVING, Side.RESTRAINING):
        raise Refused(Because.UNKNOWN_ITEM)
    return Side(word)


async def _drop_draft(request: RoundRequest) -> Reply | None:
    draft = NoteId(request.part(0))
    round_ = await request.act(DropDraft(request.by, draft))
    request.turn.revise_own(round_, request.by, "draft", answers.draft_dropped(), draft)
    return Reply()


def _late(choice: str) -> RoundAnswer:
    async def handler(request: RoundRequest) -> Reply | None:
        note = NoteId(request.part(0))
        await request.act(SettleLateNote(request.by, note, choice))  # type: ignore[arg-type]
        request.answer(late_words.settled(choice))
        return Reply()

    return handler


def _merge(same: bool) -> RoundAnswer:
    async def handler(request: RoundRequest) -> Reply | None:
        command = AnswerMerge(request.by, NoteId(request.part(0)), NoteId(request.part(1)), same)
        await request.act(command)
        return request.noted(answers.merge_answered(same))

    return handler


async def _cast(request: RoundRequest) -> Reply | None:
    _same_ballot(request)
    await request.act(CastVote(request.by, request.part(0), BUTTON))
    return Reply()


async def _back(request: RoundRequest) -> Reply | None:
    _same_ballot(request)
    await request.act(TakeBackVote(request.by, request.part(0), BUTTON))
    return Reply()


def _same_ballot(request: RoundRequest) -> None:
    """A button of an old ballot is answered with where the round is now."""
    if request.round.ledger() is None:
        in_step(request, Step.DOTS if request.part(0).startswith("f-") else Step.BALLOT)


async def _lock(request: RoundRequest) -> Reply | None:
    await request.act(LockBallot(request.by))
    return Reply()


def _compare(outcome: str) -> RoundAnswer:
    async def handler(request: RoundRequest) -> Reply | None:
        if request.part(0) not in (Axis.IMPACT, Axis.EFFORT):
            raise Refused(Because.UNKNOWN_ITEM)
        axis, first, second = Axis(request.part(0)), PlanId(request.part(1)), PlanId(request.part(2))
        await request.act(Compare(request.by, axis, first, second, outcome))  # type: ignore[arg-type]
        return Reply()

    return handler


async def _drop_question(request: RoundRequest) -> Reply | None:
    await request.act(DropQuestion(request.by, QuestionId(request.part(0))))
    return Reply()


async def _withdraw_plan(request: RoundRequest) -> Reply | None:
    await request.act(WithdrawPlan(request.by, PlanId(request.part(0))))
    return Reply()


async def _choose(request: RoundRequest) -> Reply | None:
    running, free_on = await places.places(request.turn, request.round)
    beside = await places.measured_now(request.turn, request.round)
    await request.act(ChoosePlan(request.by, PlanId(request.part(0)), running, free_on, beside))
    return Reply()


async def _drop_choice(request: RoundRequest) -> Reply | None:
    await request.act(DropChoice(request.by, PlanId(request.part(0))))
    return Reply()


async def _offer(request: RoundRequest) -> Reply | None:
    plan = PlanId(request.part(0))
    after = await request.act(OfferToOwn(request.by, plan))
    owns = after.choices[plan].owner == request.by
    words = commitment_words.you_own_it() if owns else commitment_words.offer_noted()
    request.answer(words)
    return Reply()


async def _accept(request: RoundRequest) -> Reply | None:
    await request.act(AnswerOwnership(request.by, PlanId(request.part(0)), accept=True))
    request.answer(commitment_words.you_own_it())
    return Reply()


async def _overlap(request: RoundRequest) -> Reply | None:
    await request.act(AcceptOverlap(request.by))
    return Reply()


async def _commit(request: RoundRequest) -> Reply | None:
    running, _ = await places.places(request.turn, request.round)
    await request.act(Commit(request.by, running))
    return Reply()


BUTTONS = of_round(
    {
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
)
