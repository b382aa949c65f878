"""What is held about a person, as the file that they get when they ask. What is shown here goes when they are forgotten
(`domain.round.forgetting`); tests/house/test_held_about_people.py finds what is neither."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from coldframe.domain.names import ForceId, MemberId, PlanId
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.message.nodes import Message, TextFile, line
from coldframe.message.saying import told


def export(
    record: Any, rounds: Sequence[Round], trials: Sequence[Trial], reminded: Sequence[datetime], me: MemberId
) -> Message:
    """Everything held about one person; revealed notes are not among it, since they carry no author."""
    held = {
        "record": asdict(record) if record is not None else None,
        "reminded": list(reminded),
        "rounds": [held_in(round_, me) for round_ in rounds],
        "trials": [held_in_trial(trial, me) for trial in trials],
    }
    head = line(
        "This is what I hold about you. Revealed notes are not in it: nobody can tell any more which are yours. Please "
        "save it: I take it back when one of your rounds goes on."
    )
    text = json.dumps(held, indent=2, ensure_ascii=False, default=_plain)
    return told(head, attachments=(TextFile("what-is-held.json", "What is held about me", text, "application/json"),))


def held_in(round_: Round, me: MemberId) -> dict[str, object]:
    """Everything of one round that still leads to the person: texts, votes, comparisons, forecasts."""
    titles = {p.id: p.title for p in round_.plans.values()}
    dots = round_.dots.counted(me) if round_.dots else ()
    votes = round_.ballot.counted(me) if round_.ballot else ()
    return {
        "name": round_.name,
        "notes": [n.text for n in round_.notes.values() if n.author == me],
        "late notes": [n.text for n in round_.late_notes.values() if n.author == me],
        "texts without a place yet": [d.text for d in round_.drafts.values() if d.author == me],
        "dots": [round_.force_text(ForceId(m.option)) for m in dots],
        "decided and not announced yet": [asdict(h) for h in round_.held.values() if h.by == me],
        "suggested questions": [s.text for s in round_.suggestions if s.by == me],
        "precedents": [asdict(p) for p in round_.precedents if p.by == me],
        "plans": [asdict(p) for p in round_.plans.values() if p.author == me],
        "votes": [titles.get(PlanId(m.option), m.option) for m in votes],
        "comparisons": [
            {"asked": c.axis, "first": titles.get(c.first), "second": titles.get(c.second), "answer": c.outcome}
            for c in round_.comparisons.get(me, ())
        ],
        "forecasts in per cent": {
            titles.get(plan, plan): choice.forecasts[me]
            for plan, choice in round_.choices.items()
            if me in choice.forecasts
        },
        "why a trial would fail": {
            titles.get(plan, plan): choice.feared[me] for plan, choice in round_.choices.items() if me in choice.feared
        },
        "trials declined": {
            titles.get(plan, plan): reason
            for plan, choice in round_.choices.items()
            for member, reason in choice.declined
            if member == me
        },
    }


def held_in_trial(trial: Trial, me: MemberId) -> dict[str, object]:
    """The person's part in one trial: what they do in it, and what they said for themselves alone."""
    return {
        "title": trial.title,
        "owned": trial.owner == me,
        "actions": [asdict(action) for action in trial.actions if action.who == me],
        "forecast in per cent": trial.chances.get(me),
        "why it would fail": trial.feared.get(me, ""),
        "learning": trial.learnings.get(me, ""),
    }


def _plain(value: datetime | object) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
