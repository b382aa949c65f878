"""The guide to leading each step: what to say to the team in a minute, what to watch, what may be skipped and at what
price, what usually goes wrong. For whoever facilitates, when they ask for it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Guide:
    """Read by a facilitator who does it for the first time."""

    say: str
    watch: str
    skip: str
    wrong: str


SETUP = Guide(
    say="“We take some days to find one thing that holds our growth back, and try at most two ways round it. You "
    "answer in private and in your own hours, a few minutes a step. Nobody sees anything before all do.”",
    watch="That the question is one that a trial could answer, and that the people who talk to customers are in.",
    skip="Nothing here. Without a deputy the round hangs on one person.",
    wrong="The question is vague, and people learn their role late.",
)
NOTES = Guide(
    say="“Write what holds us back first, one idea a note; things that we should stop doing count. Nobody reads them "
    "before the reveal, me included. Each view is needed.”",
    watch="That the decision-maker says nothing on the topic before the reveal, and that you don't either.",
    skip="The helping forces. The price: fewer strengths to build on later.",
    wrong="Examples from whoever leads: everybody then writes more of the same.",
)
FOCUS = Guide(
    say="“Read the notes. One person now picks the one lever that we work on, and says why. The other notes are kept.”",
    watch="That the reason is more than the number of notes: that shows what was talked about, not what matters.",
    skip="The step itself, by setting up one lever. The price: you may work on the wrong one.",
    wrong="The lever is picked by habit.",
)
MERGE = Guide(
    say="“I join notes that say the same in other words, so votes are not split. If two differ, tell me in private.”",
    watch="Only the same point, never the same theme: a wrong join loses a distinct point.",
    skip="Doubtful pairs. The price is small: the force may lose its first place, hardly its place on the short list.",
    wrong="Tidying up by topic, which hides the one unusual remark.",
)
DOTS = Guide(
    say="“Put your dots on what holds us back most, several on one if you like. All are shown as one count.”",
    watch="That nobody says in the channel how they vote.",
    skip="Nothing: without dots the loudest force wins.",
    wrong="The first place is taken for certain. It is soft; the first five together are not.",
)
QUESTIONS = Guide(
    say="“I turn the strongest forces into questions. Suggest wordings: for whom, when, and what should change?”",
    watch="That no answer hides in the question, as in “by a referral programme”.",
    skip="A question for each force: two or three good ones do. The price: the others wait for a later round.",
    wrong="Too broad (“grow faster”) or too narrow to leave a choice.",
)
PRECEDENTS = Guide(
    say="“Find one case of somebody who dealt with one of these questions, ideally outside our own trade, and tell it "
    "in a few lines.”",
    watch="That cases are few and uncommon rather than many and famous.",
    skip="The whole step, by closing it early. The price: plans stay closer to what you do already.",
    wrong="Everybody copies one famous case, and a story is taken for evidence.",
)
PLANS = Guide(
    say="“Whoever has an idea writes one page: what, for whom, which number moves, and when we stop. No names until "
    "the choice.”",
    watch="That each plan has a number with its baseline, and is large enough to be seen in three to six weeks.",
    skip="Numbers, until the commitment. The price: you choose between plans that you can't size.",
    wrong="Hope in place of a hypothesis, and a measure chosen afterwards.",
)
BALLOT = Guide(
    say="“Read the plans, then give your votes to those with the most effect on their question. Effort comes later.”",
    watch="That there is time to read, and that the decision-maker votes but does not campaign.",
    skip="Nothing. If one person decides anyway, say so instead of voting.",
    wrong="What is easy beats what is useful, and the weight decides without anybody noticing.",
)
PLACEMENT = Guide(
    say="“Compare the plans two at a time: which has more effect, which takes more effort? Unsure is an answer too.”",
    watch="How sure each place is: a plan near the border has no corner.",
    skip="You can close with few comparisons. The price: the places are one person's view, and it says so.",
    wrong="Everything lands at much effect, little effort.",
)
COMMITMENT = Guide(
    say="“We try at most two. Each gets one owner who says yes, first actions within a week, a date for its "
    "review. Every other plan gets an answer.”",
    watch="That owners offer or accept rather than being volunteered, and that the measure is fixed before the start.",
    skip="The second trial. The price: none.",
    wrong="Five priorities, no owner, and a first action next month.",
)
