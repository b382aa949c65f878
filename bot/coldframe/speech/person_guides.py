"""What each person of a round comes for, what is asked of them and what they can rely on: one page each, in the chat by
`/coldframe guide` and as files by `coldframe manual`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coldframe.message.nodes import Block, Button, Items, Message, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import heading, offer, paragraph


@dataclass(frozen=True, slots=True)
class PersonGuide:
    """`parts`: a title each, and what stands below it, line by line."""

    title: str
    brief: str
    parts: tuple[tuple[str, tuple[str, ...]], ...]


FACILITATOR = PersonGuide(
    "For the facilitator",
    "You start the round and keep it moving. I chase, count, copy and work out deadlines over time zones.",
    (
        (
            "Begin",
            (
                "Invite me to the team's channel and type `/coldframe new` there: the question, who takes part, roles, "
                "pace and start.",
                "You see the calendar and who can't be reached before anything starts; until you confirm it, change "
                "what you like.",
                "Name a deputy for the decision-maker and for yourself, so that nobody's holiday stops the round.",
            ),
        ),
        (
            "While it runs",
            (
                "Each step brings you one message with what is asked of you. Its `Guide` button says what to tell the "
                "team, what to watch, what may be skipped and what often goes wrong.",
                "You confirm which notes say the same, word the questions, and record the commitment with the "
                "decision-maker.",
                "A step closes when everybody is done, or at its deadline if enough have answered. `/coldframe close`, "
                "`extend` and `pause` are yours; a close by hand can be undone for ten minutes.",
                "`/coldframe edit` puts question, people, dates and most decisions right.",
            ),
        ),
        (
            "What you can't see",
            (
                "Notes, plans and votes before everybody sees them, who is late, and who wrote or voted what.",
                "If somebody holds everything up, I tell you and their deputy what you can do.",
            ),
        ),
        (
            "Afterwards",
            (
                "Every plan that isn't tried gets an answer, and the next round has its date before this one ends.",
                "What is left over (forces, plans, learnings) is offered when you start the next.",
            ),
        ),
    ),
)
PARTICIPANT = PersonGuide(
    "For everybody who takes part",
    "You give notes and plans in private, vote in private, and read what the others wrote. A few minutes a step.",
    (
        (
            "What is asked of you",
            (
                "Each step brings you one private message: what to do, by when in your own time, and what comes then.",
                "Notes: what holds growth back and what helps, one idea a line. `- retention: …` holds it back, "
                "`+ retention: …` drives it. You can change and withdraw them until all are shown.",
                "Dots and ballot: tap, or add an emoji to an option; each emoji is one vote. You see what is left.",
                "Precedents and plans: a short summary of a case, and a page with what you would try.",
            ),
        ),
        (
            "When",
            (
                "In your own working hours: I ask nothing outside them, nor while you're away. `/coldframe hours` and "
                "`/coldframe away` change them.",
                "Two reminders a step at most, to you alone. `/coldframe mine` shows what is open.",
            ),
        ),
        (
            "Who sees what",
            (
                "Nobody reads notes, plans or votes before all do, the facilitator included.",
                "Notes are shown unsigned and in random order, and then nobody can tell any more who wrote them. In a "
                "small team people may still guess.",
                "Plans stay unsigned unless you say that one is yours.",
                "`/coldframe export` shows all that is held about you, and `/coldframe forget` deletes it.",
            ),
        ),
    ),
)
DECISION_MAKER = PersonGuide(
    "For the decision-maker",
    "You pick the lever, vote with some weight, and settle the commitment. You needn't sit in every step.",
    (
        (
            "Three moments",
            (
                "After the notes: pick the one lever that the round works on, and say why in a sentence.",
                "At the ballot: you vote like all others, and your votes count double unless the setup says otherwise.",
                "At the commitment: with the facilitator choose at most two trials; each owner has to accept.",
            ),
        ),
        (
            "So that you hear what people think",
            (
                "Say nothing about the question before the notes are shown: people write what they believe you want.",
                "The team sees group votes, your votes and the total side by side where enough vote, and whether your "
                "weight decided.",
                "How sure a ranking is stands beside it. With six people the first place is soft.",
            ),
        ),
        (
            "Later",
            (
                "If a trial crosses its stop line or its harm limit, you're told at once and decide with its owner.",
                "What scales after a review needs your yes.",
                "Away? Your deputy decides: `/coldframe roles`.",
            ),
        ),
    ),
)
OWNER = PersonGuide(
    "For the owner of a trial",
    "You see one trial through: first actions within a week, live, a number a week, and a review that is held.",
    (
        (
            "Before you accept",
            (
                "A trial is yours only if you say yes.",
                "You see how likely each verdict is before measure, target and weeks are fixed. After that they stay "
                "as they are, so that nobody moves the goal.",
            ),
        ),
        (
            "While it runs",
            (
                "Tick the first week's actions. Say from which day it is live: weeks and review follow from it.",
                "Once a week I ask for the numbers: in the form, as lines, as a file, or from a program by a web "
                "address.",
                "Weeks run from Monday to Sunday. Looking each week costs no honesty, but before its end a trial "
                "seldom decides.",
                "A week that couldn't be counted is a gap: say so, and the trial goes on for longer.",
                "In trouble? Stop it, hand it over, or say what is in the way, by `/coldframe trials`.",
            ),
        ),
        (
            "The review",
            (
                "The numbers give the verdict: reached, better, not reached, worse or cannot tell. None of them is "
                "your fault.",
                "A comparison with earlier weeks says that something changed, never why.",
                "You write what was learnt; the team decides to scale, change or stop, with who and when.",
            ),
        ),
    ),
)
LEAD = PersonGuide(
    "For the lead",
    "You want one look: what runs, what is late, what was learnt. Nobody writes a status report for it.",
    (
        (
            "Your three words",
            (
                "`/coldframe digest`: trials with their state, what is late, what crossed a line and waits for a "
                "decision, and what was learnt last.",
                "`/coldframe report`: a round, a trial or a year on one page, to print or hand on.",
                "`/coldframe search WORDS`: was that tried before, and what came of it?",
            ),
        ),
        (
            "How to read it",
            (
                "“Cannot tell” is an honest result: few people passed through, or the effect was small. Most ideas do "
                "not move their number.",
                "An interval says what the numbers still allow. Where a trial had no control group, other things of "
                "those weeks are in the difference, too.",
                "`/coldframe funnel` says what one more point on each lever would be worth with your own numbers; not "
                "that a trial will bring it.",
            ),
        ),
        (
            "What you don't get",
            (
                "Who wrote a note, who voted for what, and who answered late. That is why people are frank.",
                "Two trials at a time for a team: a third is refused, with the date when a place is free.",
            ),
        ),
    ),
)
PERSONS: Mapping[str, PersonGuide] = {
    "facilitator": FACILITATOR,
    "participant": PARTICIPANT,
    "decision-maker": DECISION_MAKER,
    "owner": OWNER,
    "lead": LEAD,
}
WHICH = Button("How it works", "guide.which", "", says="What a round asks of each person")


def which() -> Message:
    """The pages there are."""
    head = line("How it works, for you: a page that takes two minutes.")
    buttons = (Button(page.title, "guide.person", ButtonValue(name).pack()) for name, page in PERSONS.items())
    return Message(head, (paragraph(head), offer(*buttons)))


def page(person: str) -> Message:
    """KeyError for somebody for whom there is none."""
    found = PERSONS[person]
    head = line(found.title)
    blocks: list[Block] = [heading(head), paragraph(found.brief)]
    for title, lines in found.parts:
        blocks += [paragraph("*{t}*", t=title), Items(tuple(line(one) for one in lines))]
    return Message(head, tuple(blocks))


def markdown(person: str) -> str:
    """The same to read in a file."""
    found = PERSONS[person]
    parts = [f"# {found.title}", found.brief]
    for title, lines in found.parts:
        parts += [f"## {title}", "\n".join(f"- {one}" for one in lines)]
    return "\n\n".join(parts) + "\n"
