"""What a plan seems to touch that somebody responsible should check first: asked of its author, said on its page and on
the card on which it is committed to."""

from __future__ import annotations

from coldframe.domain.state import Plan, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Line, Message, line
from coldframe.message.saying import in_private, offer, small, told
from coldframe.speech.names import TOUCHED, about


def question(round_: Round, plan: Plan) -> Message:
    """To the author: a question, no advice."""
    key = about(round_, plan.id)
    words = line("Does your plan “{title}” touch ", title=theirs(plan.title, 80)) + _what(plan)
    return in_private(
        told(
            words + line("? I ask because of {words}.", words=_raised_by(plan)),
            small("If it does, it can't start before somebody responsible has checked it: name them on the page, or at "
                  "the commitment. I give no legal advice; local law and your firm's own experts decide."),
            offer(Button("It doesn't", "plan.not_so", key), Button("Name who checked it …", "plan.edit", key)),
        )
    )  # fmt: skip


def on_its_page(plan: Plan) -> list[Block]:
    """Whoever is named as having checked it stands there though nothing was asked."""
    if not plan.caution:
        return [small("Checked by {who}.", who=theirs(plan.checked_by, 100))] if plan.checked_by else []
    words = line("Caution: it seems to touch ") + _seen(plan)
    return [small("{w}. Local law and your firm's own experts decide.", w=words)]


def at_the_commitment(plan: Plan) -> list[tuple[str, Line]]:
    """What was asked and what was answered, where it is decided."""
    return [("Seems to touch", _seen(plan))] if plan.caution else []


def _seen(plan: Plan) -> Line:
    return _what(plan) + line(" ({words}); ", words=_raised_by(plan)) + _checked(plan)


def _what(plan: Plan) -> Line:
    return line("{what}", what=", ".join(TOUCHED[each] for each in plan.caution))


def _raised_by(plan: Plan) -> Line:
    """The words that raised it, each in quotes."""
    return line("{w}", w=theirs(", ".join(f"“{words}”" for words in plan.raised) or "its words", 300))


def _checked(plan: Plan) -> Line:
    if plan.checked_by:
        return line("checked by {who}", who=theirs(plan.checked_by, 100))
    return line("its author says that it does not" if plan.not_so else "nobody has checked it yet")
