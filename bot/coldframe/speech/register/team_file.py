"""All that a team may know of itself, as files for its facilitator: no text before its reveal, never who wrote it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from coldframe.domain.fates import Fate
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Entry, Trial
from coldframe.message.nodes import Message, TextFile, line
from coldframe.message.saying import told
from coldframe.ports.follow_through import RegisterEntry, Team
from coldframe.speech.data_words import as_data, in_words
from coldframe.speech.register.round_data import round_data

EXPLAINED: Mapping[str, str] = {
    "rounds": "Each round as the channel has seen it: no notes and plans before their reveal, and never whose.",
    "trials": "Each trial with its plan, owner, weekly numbers, what they supported, and how its review ended.",
    "register": "What was tried, with verdicts and learnings.",
    "to be done": "What was decided of plans that were not tried and at reviews, and whether it is done.",
    "settings": "When the weekly digest comes, and the team's own funnel numbers.",
}


def export(rounds: Sequence[Round], trials: Sequence[Trial], entries: Sequence[RegisterEntry], team: Team) -> Message:
    held = {
        "rounds": [round_data(round_) for round_ in rounds],
        "trials": [_trial(trial) for trial in trials],
        "register": [_entry(entry) for entry in entries],
        "to be done": [_fate(fate) for fate in team.fates.values()],
        "settings": {"weekday": team.weekday, "hour": team.hour, "funnel": dict(team.funnel)},
    }
    words = line(
        "This is what I keep of the team, as its channel may know it: one file to read, and the same as JSON. What "
        "isn't revealed yet isn't in it, nor who wrote what."
    )
    files = (
        TextFile("team.txt", "The team", in_words("What coldframe keeps of the team", held, EXPLAINED), "text/plain"),
        TextFile("team.json", "The team, as JSON", as_data(held, EXPLAINED), "application/json"),
    )
    return told(words, attachments=files)


def _trial(trial: Trial) -> dict[str, Any]:
    return {
        "title": trial.title,
        "hypothesis": trial.hypothesis,
        "question": trial.question,
        "round": trial.round_name,
        "state": trial.step.value,
        "owner": trial.name_of(trial.owner) if trial.owner else None,
        "criterion": asdict(trial.criterion),
        "days of the zone": trial.zone,
        "built since": trial.sealed,
        "planned to be live": trial.planned_live,
        "live day moved": [{"to": p.to, "reason": p.reason, "at": p.at} for p in trial.postponed],
        "left out": trial.smaller,
        "live": trial.live_since(),
        "starts": trial.starts,
        "review": trial.review,
        "weeks": [_week(entry) for week in (trial.early, *trial.weeks.values()) for entry in week],
        "reading": asdict(trial.reading) if trial.reading else None,
        "stopped early": trial.stopped,
        "counting checked": trial.counting_checked,
        **_ended(trial),
    }


def _week(entry: Entry) -> dict[str, Any]:
    return {name: value for name, value in asdict(entry).items() if name != "by"}


def _ended(trial: Trial) -> dict[str, Any]:
    closing = trial.closing
    if closing is None:
        return {}
    what: dict[str, Any] = {"outcome": closing.outcome, "decision": closing.decision, "reason": closing.reason}
    what |= {"what exactly": closing.what, "until": closing.due}
    return {**what, "learning": closing.learning, "what others learnt": list(trial.shown_learnings)}


def _fate(fate: Fate) -> dict[str, Any]:
    kept = ("kind", "title", "origin", "where", "due", "needs_yes", "done", "ended", "reason")
    return {name: value for name, value in asdict(fate).items() if name in kept}


def _entry(entry: RegisterEntry) -> dict[str, Any]:
    without = ("trial_id", "tenant", "team", "chances", "learnings")
    shown = {name: value for name, value in asdict(entry).items() if name not in without}
    return {**shown, "what others learnt": list(entry.of_others)}
