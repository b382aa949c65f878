"""What the bot asks of who writes: questions, precedents, plans."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.names import ForceId, MemberId, Step
from coldframe.domain.round import pages, strengths
from coldframe.domain.state import Note, Plan, Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Items, Message, To, line
from coldframe.message.saying import offer, paragraph, said, small
from coldframe.speech.names import MOST_BESIDE, about, capital, in_words, message_name
from coldframe.speech.round import change_words, jot_words, page_words
from coldframe.speech.round.guide_words import guided
from coldframe.speech.round.prompts import card, done, until


def questions_desk(round_: Round, member: MemberId, at: ForceId | None = None) -> Message:
    """To the facilitator: the force to turn round now, `at` or the first that has no question yet; the questions so
    far, suggestions."""
    carried = [ForceId(s.option) for s in round_.forces_standing if s.carried]
    summary = line(
        "{name}: turn the {n} strongest forces into questions. ", name=theirs(round_.name, 60), n=len(carried)
    ) + until(round_, member)
    left = [force for force in carried if force not in {q.force for q in round_.questions}]
    to_go = f" {capital(in_words(len(left)))} to go." if left else ""
    blocks: list[Block] = [paragraph("Turn each force into a question or more, then publish them.{n}", n=to_go)]
    blocks += _force(round_, carried, at if at in carried else next(iter(left or carried), None))
    blocks += _questions_so_far(round_)
    blocks.append(paragraph(until(round_, member)))
    if round_.questions:
        blocks.append(offer(Button("Publish the questions", "step.close", about(round_), "primary")))
    return card(round_, Step.QUESTIONS, *blocks, summary=summary)


def _force(round_: Round, carried: Sequence[ForceId], force: ForceId | None) -> list[Block]:
    """One of them, with what may help against it, and the way to the next; its other strengths stand in the form."""
    if force is None:
        return []
    text = round_.force_text(force)
    says = f"Question for: {theirs(text, 60).text}"
    word = Button("Word it …", "question.write", about(round_, force), says=says)
    after = carried[(carried.index(force) + 1) % len(carried)]
    following = (Button("Next force", "question.next", about(round_, after)),) if after != force else ()
    driving = strengths.beside(round_)[0].get(force, ())
    return [paragraph("{text}", text=theirs(text, 400)), *_helps(driving), offer(word, *following)]


def _helps(driving: Sequence[Note]) -> list[Block]:
    """Below a force that holds back: what may be used against it. The other strengths stand in the question's form."""
    return [small("Helps: {text}", text=theirs(note.text, 80)) for note in driving[:MOST_BESIDE]]


def _questions_so_far(round_: Round) -> list[Block]:
    blocks: list[Block] = []
    beside = {question: at for at, question in enumerate(round_.side_by_side)}
    if beside and len(round_.questions) > 2:
        blocks.append(small("Questions that are most alike stand side by side."))
    for question in sorted(round_.questions, key=lambda q: beside.get(q.id, len(beside))):
        blocks.append(paragraph(written(question.text, 400)))
        blocks.append(
            offer(
                Button(
                    "Drop", "question.drop", about(round_, question.id), says=f"Drop: {theirs(question.text, 60).text}"
                )
            )
        )
    if round_.suggestions:
        blocks.append(paragraph("Suggested in the thread:"))
        blocks.append(Items(tuple(written(s.text, 300) for s in round_.suggestions[-10:])))
    return blocks


LINT = {
    "opening": "it doesn't start with “How might we”",
    "ending": "it doesn't end with a question mark",
    "long": "it has more than 20 words",
    "solution": "it seems to hold an answer already",
    "joined": "it asks two things at once",
    "negative": "it asks for a “not”; what is wanted instead?",
    "number": "it holds a number; the target belongs to the plan",
}


def question_hints(text: str, codes: Sequence[str]) -> Message:
    doubts = "; ".join(LINT[c] for c in codes)
    return said(
        "It's in: “{text}”. One doubt: {doubts}. It stands unless you change it.", text=theirs(text, 300), doubts=doubts
    )


def precedents_prompt(round_: Round, member: MemberId) -> Message:
    summary = line("{name}: who has dealt with one of these questions before? ", name=theirs(round_.name, 60)) + until(
        round_, member
    )
    many = len(round_.questions)
    new = pages.found(round_, member, "precedent", "") is None
    which = "the question" if many == 1 else f"one of the {in_words(many)} questions"
    questions = message_name(round_.id, "question", round_.questions[0].id if round_.questions else "")
    sheet = card(
        round_,
        Step.PRECEDENTS,
        paragraph("Tell in a few lines how somebody else dealt with {which} in the channel, ideally outside our own "
                  "trade.", which=To(questions, which)),
        paragraph(until(round_, member)),
        *own_precedents(round_, member),
        offer(
            *((Button("Write a precedent …", "precedent.write", about(round_), "primary"),) if new else ()),
            jot_words.button(round_),
            done(round_, member),
        ),
        *_tick(round_, member),
        small("It appears under its question at once, with your name."),
        summary=summary,
    )  # fmt: skip
    return guided(round_, member, sheet)


def own_precedents(round_: Round, member: MemberId) -> list[Block]:
    """What this person has begun of one; those that are told stand in the channel."""
    return page_words.begun(round_, member, "precedent", {"": page_words.go_on(round_, "precedent.write")})


def plans_desk(round_: Round, member: MemberId) -> Message:
    """The person's own plans so far, kept up to date."""
    summary = line("{name}: write a plan, one page. ", name=theirs(round_.name, 60)) + until(round_, member)
    blocks: list[Block] = [
        paragraph("What would you try for three to six weeks? One page: hypothesis, steps, measure, weeks."),
        paragraph(until(round_, member)),
        *jot_words.jotted(round_, member),
        *change_words.offered(round_),
    ]  # fmt: skip
    blocks += own_plans(round_, member)
    new = pages.found(round_, member, "plan", "") is None
    blocks.append(
        offer(
            *((Button("Write a plan …", "plan.write", about(round_), "primary"),) if new else ()),
            jot_words.button(round_),
            done(round_, member),
        )
    )
    blocks += _tick(round_, member)
    return guided(round_, member, card(round_, Step.PLANS, *blocks, summary=summary))


def _tick(round_: Round, member: MemberId) -> list[Block]:
    is_done = member in round_.progress.done
    return [small("✓ You're done. You can change that until the step closes.")] if is_done else []


def own_plans(round_: Round, member: MemberId) -> list[Block]:
    """The person's own plans, each with what they can do with it."""
    mine = [plan for plan in round_.plans.values() if plan.author == member]
    go_on = {"": page_words.go_on(round_, "plan.write")}
    go_on |= {plan.id: page_words.go_on(round_, "plan.edit", plan.id) for plan in mine}
    go_on |= {change.trial: page_words.go_on(round_, "plan.again", change.trial) for change in round_.to_change}
    shown = [block for plan in mine for block in _own_plan(round_, plan)]
    return [*page_words.begun(round_, member, "plan", go_on), *shown]


def _own_plan(round_: Round, plan: Plan) -> list[Block]:
    return [paragraph(written(plan.title, 80)), *_earlier(plan), offer(*_plan_buttons(round_, plan))]


def _earlier(plan: Plan) -> list[Block]:
    """What the team has tried that resembles it; nobody else reads this."""
    return [
        small(
            "Like an earlier trial: “{title}” ({verdict}){learnt}.",
            title=theirs(one.title, 80),
            verdict=one.verdict,
            learnt=line(". Learnt: {l}", l=theirs(one.learning, 200)) if one.learning else (),
        )
        for one in plan.earlier
    ]


def _plan_buttons(round_: Round, plan: Plan) -> tuple[Button, ...]:
    key = about(round_, plan.id)
    return (
        Button("Change …", "plan.edit", key, says=f"Change the plan {plan.title}"),
        Button("Withdraw", "plan.withdraw", key, says=f"Withdraw the plan {plan.title}"),
    )
