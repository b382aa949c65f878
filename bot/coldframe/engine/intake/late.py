"""Presses and forms that have nothing to change: what they were made for is over, or it stands so already. None of them
goes without an answer."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.names import RUNNING
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.engine.core import access, trial_turn
from coldframe.engine.core.requests import Over, Request
from coldframe.engine.intake import submissions
from coldframe.engine.people import front_page
from coldframe.engine.reminding import owed as reminders
from coldframe.engine.round import counter, likening, what_now
from coldframe.message.nodes import Block
from coldframe.message.saying import told
from coldframe.ports.chat import Pressed, Reply, Submitted
from coldframe.speech import answers, handed_back, panel_words
from coldframe.speech.trial import trial_words


async def answered(request: Request, over: Over) -> Reply:
    """What it belonged to, what became of that, and what is open now for this person, in a passing note: whoever
    presses ten old buttons is not left with ten messages. What was written into a form comes back in one that stays."""
    what, now = request.event.what, await _open_now(request, over.subject)
    if isinstance(what, Submitted) and submissions.typed(what):
        request.answer(told(over.words, *handed_back.sheet(what.fields), *now, private=True))
        return Reply(note=told(over.words + handed_back.elsewhere()) if request.event.place.kind == "channel" else None)
    if isinstance(what, Pressed) and what.message is None and request.event.place.kind == "direct":
        await front_page.show(request)  # perhaps it was pressed there, where old buttons would stay
    return Reply(note=told(over.words, *now))


async def _open_now(request: Request, subject: Round | Trial) -> list[Block]:
    turn, me = request.turn, request.by
    rounds = await access.rounds_of(turn, request.event)
    here = {subject.team if isinstance(subject, Trial) else subject.channel, *(round_.channel for round_ in rounds)}
    owed = await reminders.owed(turn, request.tenant, me, here)
    if isinstance(subject, Trial):
        return [*panel_words.owed_now(owed), *trial_words.open_now(subject, await trial_turn.today(turn, subject), me)]
    shown = [subject] if subject.step in RUNNING else rounds
    return panel_words.open_now(shown, me, owed, await what_now.seen(turn, _running(shown), me))


def _running(rounds: Sequence[Round]) -> list[Round]:
    """Of a setup the platform would be asked, which no old button is worth."""
    return [round_ for round_ in rounds if round_.step in RUNNING]


QUIET = {counter.COUNT, *likening.DUE}
"""Due rows that may say nothing to whoever set them off."""


def never_silent(request: Request, reply: Reply) -> Reply:
    """A press or a form after which nothing is shown, posted or still to come is answered all the same. The number of
    those who are in does not count, as it moves later and tells nothing about this press; nor does what may find
    nothing."""
    turn = request.turn
    asked = isinstance(request.event.what, Pressed | Submitted)
    if not asked or reply != Reply() or turn.sends or any(d.kind not in QUIET for d in turn.dues):
        return reply
    return Reply(note=answers.noted() if turn.changed else answers.nothing_to_change())
