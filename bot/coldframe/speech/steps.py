"""The words of each step, one record each: how it is called, what it asks, what follows, and its buttons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coldframe.domain.names import Step
from coldframe.message.nodes import Button
from coldframe.speech import guides


@dataclass(frozen=True, slots=True, kw_only=True)
class VoteWords:
    """How a secret vote is spoken of."""

    thing: str
    ask: str
    ties: str
    secret: str
    shown: str
    locks: bool
    """Whoever is through locks their ballot; else they say that they are done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepWords:
    """`asks` and `then` may name {chief}, {facilitator}, {choosers}, {dots}, {votes}, {trials}, {carry}."""

    title: str
    asks: str
    """On its card: what is asked of whom."""
    then: str
    """On its card: what happens when it closes."""
    became: str
    """Said when it is over: what came of it."""
    card: tuple[Button, ...]
    """Its own buttons on its card in the channel; their value is the round."""
    panel: tuple[Button, ...]
    """Its own buttons on a member's panel."""
    vote: VoteWords | None
    guide: guides.Guide
    """What whoever leads it may want to know."""


_NOTE = Button("Write a note …", "note.write", "", "primary")
_JOT = Button("Jot something down …", "jot.write", "", says="Jot down, for myself, what struck me")
_PLAN = Button("Write a plan …", "plan.write", "", "primary")
_MERGE = (
    Button("Same point …", "merge.same", "", says="Say that two notes are the same point"),
    Button("These differ …", "merge.object", "", says="Say that joined notes differ"),
)
WORDS: Mapping[Step, StepWords] = {
    Step.NOTES: StepWords(
        guide=guides.NOTES,
        title="Notes",
        asks="Everybody writes me notes in private: what holds each lever back, and what drives it.",
        then="Then all appear at one moment, shuffled and unsigned.",
        became="the notes stand in the channel",
        card=(_NOTE,),
        panel=(_NOTE, Button("I'm done", "step.done", "")),
        vote=None,
    ),
    Step.FOCUS: StepWords(
        guide=guides.FOCUS,
        title="Focus",
        asks="{chief} picks the one lever to work on, with a reason.",
        then="Then duplicates among the picked lever's restraining forces are joined. Other levers' notes are kept.",
        became="the lever is picked",
        card=(), panel=(), vote=None,
    ),
    Step.MERGE: StepWords(
        guide=guides.MERGE,
        title="Merge",
        asks="{facilitator} joins notes that say the same. Only direct duplicates, never themes. "
        "Do two make the same point? Say so below; nobody is told that it was you.",
        then="Then everybody votes on the forces.",
        became="the list of forces stands",
        card=_MERGE,
        panel=_MERGE,
        vote=None,
    ),
    Step.DOTS: StepWords(
        guide=guides.DOTS,
        title="Dots",
        asks="Everybody puts {dots} on the restraining forces, in private. Several on one force are allowed.",
        then="Then the ranking appears, and the first {carry} become questions.",
        became="the dots are counted",
        card=(), panel=(),
        vote=VoteWords(
            thing="dot",
            ask="Which forces hold us back most? You can put several dots on one.",
            ties="number of dots, then number of different people",
            secret="Nobody sees who put a dot where.",
            shown="If fewer than {fewest} people vote, the result shows places only.",
            locks=False,
        ),
    ),
    Step.QUESTIONS: StepWords(
        guide=guides.QUESTIONS,
        title="Questions",
        asks="{facilitator} turns the strongest forces into questions. Suggest one to me in private, or in this "
        "thread after my name; it begins with “How might we”.",
        then="Then everybody looks for precedents.",
        became="the questions are published",
        card=(), panel=(), vote=None,
    ),
    Step.PRECEDENTS: StepWords(
        guide=guides.PRECEDENTS,
        title="Precedents",
        asks="Everybody picks a question and tells what somebody else did about it.",
        then="Then everybody may write plans.",
        became="the precedents are in",
        card=(Button("Add a precedent …", "precedent.write", "", "primary"), _JOT),
        panel=(Button("Write a precedent …", "precedent.write", "", "primary"), _JOT),
        vote=None,
    ),
    Step.PLANS: StepWords(
        guide=guides.PLANS,
        title="Plans",
        asks="Everybody may write one-page plans, in private, without names.",
        then="Then all plans appear at one moment, without names.",
        became="the plans stand in the channel",
        card=(_PLAN,), panel=(_PLAN, _JOT), vote=None,
    ),
    Step.BALLOT: StepWords(
        guide=guides.BALLOT,
        title="Ballot",
        asks="Everybody gives {votes} to the plans with the most effect on their question, in private.",
        then="Then the count appears.",
        became="the votes are counted",
        card=(), panel=(),
        vote=VoteWords(
            thing="vote",
            ask="Which plans have the most effect on their question? Effort comes later.",
            ties="weighted total, then number of different voters, then the decision-maker's votes",
            secret="Nobody sees who voted for what.",
            shown="If fewer than {fewest} people vote besides the decision-maker, the result shows places only; else "
            "the decision-maker's votes have their own column.",
            locks=True,
        ),
    ),
    Step.PLACEMENT: StepWords(
        guide=guides.PLACEMENT,
        title="Placement",
        asks="Plans are compared in pairs: which has more impact, which takes more effort.",
        then="Then the effort-impact matrix appears, with how sure each place is.",
        became="the plans have their places",
        card=(), panel=(), vote=None,
    ),
    Step.COMMITMENT: StepWords(
        guide=guides.COMMITMENT,
        title="Commitment",
        asks="{choosers} can choose at most {trials}; each owner accepts in person.",
        then="The round ends when owners, first-week actions and all dates are there.",
        became="the commitment is sealed",
        card=(), panel=(), vote=None,
    ),
}  # fmt: skip
GUIDES: Mapping[Step, guides.Guide] = {Step.SETUP: guides.SETUP, **{step: words.guide for step, words in WORDS.items()}}
TITLES = {
    Step.SETUP: "Setup",
    **{step: words.title for step, words in WORDS.items()},
    Step.COMMITTED: "Committed",
    Step.CANCELLED: "Cancelled",
}
