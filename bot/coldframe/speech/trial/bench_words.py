"""A trial as it lies on the bench of one person: where it stands, and what they can do for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from coldframe.domain.names import MemberId
from coldframe.domain.trial.state import Trial
from coldframe.message.nodes import Buttons, Message
from coldframe.speech.trial import trial_words


def laid(trial: Trial, today: date, me: MemberId) -> Message:
    """The channel's card with this person's own buttons below."""
    card = trial_words.card(trial, today)
    shown = (block for block in card.blocks if not isinstance(block, Buttons))
    own = (block for block in trial_words.open_now(trial, today, me) if isinstance(block, Buttons))
    return replace(card, blocks=(*shown, *own))
