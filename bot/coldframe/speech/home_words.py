"""Everybody's own page, and the same by the command."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coldframe.domain.names import MemberId, RoundId, Step
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Appointment, Block, Button, Items, Line, Message, Rule, When, line
from coldframe.message.saying import heading, offer, paragraph, small
from coldframe.speech import answers, person_guides
from coldframe.speech.names import capital, in_words, spelt
from coldframe.speech.round import notes_words, now_words, work_prompts
from coldframe.speech.round.now_words import Seen
from coldframe.speech.round.rehearsal_words import TRY_ALONE
from coldframe.speech.trial import trial_words

MOST_NOTES, MOST_DATES = 15, 6
"""Shown here; of notes the rest stands on the sheet, of dates in the calendar."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What is to stand on it. `begin`: (channel, name of its last round) of channels without a round; `has_calendar`:
    there is one to subscribe to."""

    me: MemberId
    owed: tuple[tuple[Line, When], ...]
    rounds: tuple[Round, ...]
    seen: Mapping[RoundId, Seen]
    trials: tuple[tuple[Trial, date], ...]
    dates: tuple[Appointment, ...]
    has_calendar: bool
    others: tuple[Round, ...]
    begin: tuple[tuple[str, str], ...]


def page(shown: Page) -> Message:
    number = len(shown.owed)
    head = line("{n} open for you.", n=capital(spelt(number, "thing is", "things are")) if number else "Nothing is")
    parts: list[list[Block]] = [
        [Items(tuple(what + line(", until {d}", d=due) for what, due in shown.owed))] if number else [],
        *([*now_words.blocks(r, shown.me, shown.seen.get(r.id)), *_given(r, shown)] for r in shown.rounds),
        _trials(shown),
        _dates(shown.dates, shown.has_calendar),
        _others(shown.others),
    ]
    blocks: list[Block] = [heading(head)]
    for part in (part for part in parts if part):
        blocks += [*part, Rule()]
    return Message(head, (*blocks, *_begin(shown), offer(*_ABOUT_ME)))


def _given(round_: Round, shown: Page) -> list[Block]:
    """Their own notes and plans, which nobody else reads yet, and texts that wait for their place."""
    notes = notes_words.listed(round_, shown.me, MOST_NOTES)
    plans = work_prompts.own_plans(round_, shown.me) if round_.step is Step.PLANS else []
    plans += work_prompts.own_precedents(round_, shown.me) if round_.step is Step.PRECEDENTS else []
    waiting = [d for d in round_.drafts.values() if d.author == shown.me and round_.step is Step.NOTES]
    drafts = [block for draft in waiting for block in answers.which_note(round_, draft).blocks]
    return [*notes, *drafts, *plans]


def _trials(shown: Page) -> list[Block]:
    if not shown.trials:
        return []
    found: list[Block] = [paragraph("*Your trials*")]
    for trial, today in shown.trials:
        found += trial_words.open_now(trial, today, shown.me)
    return found


def _dates(dates: Sequence[Appointment], has_calendar: bool) -> list[Block]:
    if not dates:
        return []
    rows = tuple(line("{t}: {d}", t=theirs(each.title, 120), d=When(each.starts)) for each in dates[:MOST_DATES])
    left = len(dates) - MOST_DATES
    all_ = "`/coldframe calendar` gives you all of them in your own calendar."
    more = small(all_) if has_calendar else small("{n} more later.", n=capital(in_words(left)))
    return [paragraph("*Your next dates*"), Items(rows), *([more] if left > 0 else [])]


def _others(rounds: Sequence[Round]) -> list[Block]:
    if not rounds:
        return []
    return [paragraph("*Also in your channels*"), *(paragraph(now_words.where(round_)) for round_ in rounds)]


def _begin(shown: Page) -> list[Block]:
    if shown.begin:
        return [offer(*(_after(channel, name) for channel, name in shown.begin))]
    if shown.rounds:
        return []
    words = "To start a round, type `/coldframe new` in the channel of the team that takes part."
    return [small(words), offer(TRY_ALONE)]


def _after(channel: str, name: str) -> Button:
    last = theirs(name, 40).text
    return Button(f"Next round after {last} …", "round.again", channel, says=f"Start a round where {last} was")


_ABOUT_ME = (
    Button("What you hold about me", "me.export", ""),
    Button("I'm away …", "me.away", ""),
    Button("My working time …", "hours.write", ""),
    person_guides.WHICH,
)
