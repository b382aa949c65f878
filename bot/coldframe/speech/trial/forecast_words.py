"""The question for a chance, and the pre-mortem, to each member in private."""

from __future__ import annotations

from coldframe.domain.state import Plan, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Message, line
from coldframe.message.saying import offer, paragraph, small
from coldframe.speech.names import about


def ask_forecast(round_: Round, plan: Plan, given: int | None = None, feared: str = "") -> Message:
    """To each member in private: how likely, and why it would fail."""
    words = line(
        "How likely is “{t}” to reach its target? Please answer before you talk about it. Nobody sees your figure; "
        "after the seal I show the middle one of three or more.",
        t=theirs(plan.title, 80),
    )
    chances = tuple(
        Button(
            f"{c}%",
            "forecast.give",
            about(round_, plan.id, str(c)),
            "primary" if given == c else "plain",
        )
        for c in range(0, 101, 10)
    )
    fear = Button("Imagine it has failed: why? …", "forecast.write", about(round_, plan.id))
    blocks: list[Block] = [paragraph(words), offer(*chances), offer(fear)]
    if given is not None:
        blocks.append(paragraph("You said {g}%. You can change it until the commitment is sealed.", g=given))
    if feared:
        blocks.append(paragraph("Why it would fail, in your words: {w}", w=theirs(feared, 300)))
    blocks.append(small("Or react with a digit: 4 stands for 40%."))
    return Message(words, tuple(blocks))
