"""The question for a chance, and the pre-mortem, to each member in private: one sheet for all chosen plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldframe.domain.likes import Likes
from coldframe.domain.names import MemberId, PlanId
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Line, Message, line
from coldframe.message.saying import offer, paragraph, small, told
from coldframe.speech.names import about, count

DESIGNS: Mapping[str, str] = {
    "split": "split",
    "mean": "means of two groups",
    "rate": "rates of two groups",
    "before-after": "earlier weeks",
    "count": "a count against a number",
    "share": "a share against a number",
}


def like(likes: Likes) -> Line:
    """How often trials like it reached their target, and in what they are alike."""
    length = count(likes.weeks, "week") if likes.weeks else ""
    alike = ", ".join(filter(None, (theirs(likes.lever, 40).text, DESIGNS.get(likes.kind, ""), length)))
    words = "Trials like this one ({a}): {n} of {all} reached."
    return line(
        words if alike else "Of your team's trials {n} of {all} reached.", a=alike, n=likes.reached, all=likes.number
    )


CHANCES = (10, 30, 50, 70, 90)
"""In per cent, one press each; any other is given in the form."""


def sheet(round_: Round, member: MemberId, plans: Sequence[PlanId], last: Line) -> Message:
    """How likely is each of them, what this person has said, and why it would fail; `last` stands below."""
    if not plans:
        return told(line("How likely would it be to reach its target? No plan is chosen now: nothing to answer."))
    which = line("“{t}”", t=_title(round_, plans[0])) if len(plans) == 1 else line("each plan")
    ask = line("How likely is ") + which + line(" to reach its target?")
    how = " Please answer before you talk about it. Nobody sees your figure; I show the middle one of three or more."
    blocks: list[Block] = [paragraph(ask + line(how))]
    for plan in plans:
        blocks += _plan(round_, member, plan, named=len(plans) > 1)
    return Message(ask, (*blocks, small(last)))


ON_IT = "Or react with a digit: 4 stands for 40%."
ON_ITS_LINE = "Or put a digit on its line in this thread, 4 for 40%."


def emoji_line(round_: Round, plan: PlanId) -> Message:
    """A chosen plan as a line for an emoji; it stays as it is, whatever is said."""
    return told(line("“{t}”", t=_title(round_, plan)))


def _title(round_: Round, plan: PlanId) -> Line:
    return (theirs(round_.plans[plan].title, 80),)


def _plan(round_: Round, member: MemberId, plan: PlanId, *, named: bool) -> list[Block]:
    choice = round_.choices[plan]
    given, feared = choice.forecasts.get(member), choice.feared.get(member, "")
    chances = (
        Button(f"{c}%", "forecast.give", about(round_, plan, str(c)), "primary" if given == c else "plain")
        for c in CHANCES
    )
    title = theirs(round_.plans[plan].title, 80).text
    fear = Button(
        "Another figure, and why …", "forecast.write", about(round_, plan), says=f"A figure, and why it fails: {title}"
    )
    blocks: list[Block] = [paragraph("“{t}”", t=_title(round_, plan))] if named else []
    if choice.likes is not None:
        blocks.append(small(like(choice.likes)))
    blocks.append(offer(*chances, fear))
    if given is not None:
        blocks.append(paragraph("You said {g}%. You can change it until the commitment is sealed.", g=given))
    if feared:
        blocks.append(paragraph("Why it would fail, in your words: {w}", w=theirs(feared, 300)))
    return blocks
