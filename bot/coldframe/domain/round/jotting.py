"""What strikes somebody while they read: a page of their own, which nobody else ever reads. It is there again when they
write a plan, and goes when the plans are revealed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain import checks
from coldframe.domain.commands import Command
from coldframe.domain.facts import Decide, Evolve, Fact, Facts
from coldframe.domain.names import MemberId, Step
from coldframe.domain.state import Round
from coldframe.domain.texts import optional
from coldframe.domain.who_may import Act

# --- what people ask ---


class Jot(Command):
    """The whole page, as it is from now on; empty for none."""

    text: str


# --- what becomes true ---


class Jotted(Fact):
    private = True
    by: MemberId
    text: str


# --- rulings ---

PAGE = 3000  # characters


def jot(round_: Round, command: Jot, now: datetime) -> Facts:
    checks.may(round_, command.by, Act.JOT)
    checks.in_step(round_, Step.PRECEDENTS, Step.PLANS)
    text = optional(command.text, PAGE, field="text")
    return () if text == round_.jottings.get(command.by, "") else (Jotted(command.by, text),)


# --- evolve ---


def jotted(round_: Round, fact: Jotted) -> Round:
    others = without(round_, fact.by)
    return replace(others, jottings={**others.jottings, fact.by: fact.text}) if fact.text else others


def without(round_: Round, gone: MemberId) -> Round:
    """This person's page is deleted."""
    return replace(round_, jottings={m: text for m, text in round_.jottings.items() if m != gone})


DECIDE: Decide = {Jot: jot}
EVOLVE: Evolve = {Jotted: jotted}
