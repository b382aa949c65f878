"""What is held about a person, as the files that they get when they ask: JSON with every field explained, and the same
to be read. `ports.holdings` lists all that is kept, and under which name it stands here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from coldframe.domain.names import ForceId, MemberId, PlanId, Role
from coldframe.domain.state import Ledger, Round
from coldframe.domain.trial.state import Trial
from coldframe.message.nodes import Message, TextFile, line
from coldframe.message.saying import told
from coldframe.ports.follow_through import Team
from coldframe.ports.people import Traces
from coldframe.speech.data_words import as_data, in_words

Held = dict[str, Any]
ROLES = {Role.FACILITATOR: "facilitator", Role.DECISION_MAKER: "decision-maker"}
EXPLAINED: Mapping[str, str] = {
    "record": "Your name, zone and working hours as I have them, absences, and what I have told you once.",
    "reminded": "When I reminded you of something, so that it is never too often.",
    "reminders to come": "What I have planned to tell or ask you, and when.",
    "messages sent": "How many of my messages to you I know of, so that I can keep them up to date or take them back.",
    "messages waiting": "How many of my messages are on their way to you.",
    "leads": "Teams whose weekly digest comes to you.",
    "erasing asked": "Teams of which you asked, or agreed, to erase everything.",
    "to see done": "What you agreed, or are asked, to see done.",
    "plans to see done": "Plans that you are named for: a project or an errand.",
    "guest of": "Teams in whose channel you are a guest, and whether somebody has let you take part.",
    "rounds": "Your part in each round. Revealed notes aren't in it: nobody can tell any more which are yours.",
    "trials": "Your part in each trial, and in what the register says of it.",
    "seat": "How you take part.",
    "roles": "Roles that are yours, and those that you stand in for.",
    "roles offered": "Roles that you were asked to take, or asked somebody to take.",
    "deadline": "Until when I wait for you in the running step.",
    "done with the step": "Whether you said that you are through with the running step.",
    "notes": "Your notes that aren't revealed yet.",
    "late notes": "Your notes that came after the reveal and were not settled yet.",
    "texts without a place yet": "What you wrote to me and I asked you about.",
    "duplicates proposed": "Pairs of notes that you joined or proposed to join.",
    "dots": "Forces that you gave dots to. Erased a week after the count.",
    "decided and not announced yet": "What you decided a moment ago and can still undo.",
    "suggested questions": "Questions that you suggested in a thread.",
    "precedents": "Precedents that you gave.",
    "begun and not handed in": "Precedents and plans that you began to write. Gone when their step is over.",
    "jotted down": "What you wrote down for yourself while reading. Gone when the plans are revealed.",
    "plans": "Your plans, with what is for you alone in them.",
    "votes": "Plans that you voted for. Erased a week after the count.",
    "ballots locked": "Ballots that you have handed in.",
    "weighted votes": "Whether your votes on plans carry the decision-maker's weight.",
    "counted on to compare": "Whether I counted on you to compare plans.",
    "comparisons": "Which of two plans has more impact, or takes more effort, as you see it.",
    "trials asked to own": "Trials that you were asked to own.",
    "trials owned": "Trials that you said yes to.",
    "trials declined": "Trials that you declined to own, with your reason.",
    "trials offered to own": "Trials that you offered to own.",
    "first-week actions": "What you are to do in a trial's first week.",
    "forecasts in per cent": "How likely you said that a trial meets its criterion. Yours alone.",
    "forecasts by emoji": "The digits that you put under the question, so that each is heard once.",
    "why a trial would fail": "Why you said that a trial would fail, while it isn't shown without names.",
    "owned": "Whether you own the trial.",
    "actions": "What you are to do in its first week, and what is done.",
    "live day moved": "Days that you moved on which a trial should be live, and why.",
    "weeks logged": "Numbers that you logged.",
    "crossed lines decided": "What you decided about a crossed line, and why.",
    "forecast in per cent": "How likely you said that it meets its criterion. Yours alone.",
    "why it would fail": "Why you said that it would fail, while it isn't shown without names.",
    "learning": "What you wrote that you learnt, while it isn't shown without names.",
    "asked about your name": "Whether I asked you if yours, which too few others wrote, is shown with your name.",
    "shown with your name": "What you had shown with your name, since too few others wrote.",
    "review closed": "What you said when you closed its review.",
}


def export(held: Held) -> Message:
    """Everything held about one person, to them alone."""
    head = line(
        "This is what I hold about you: one file to read, and the same as JSON, with every field explained. Revealed "
        "notes are not in it: nobody can tell any more which are yours. Please save it: I take it back when one of "
        "your rounds goes on. `/coldframe forget` deletes it."
    )
    files = (
        TextFile("what-is-held.txt", "What is held about me", as_text(held), "text/plain"),
        TextFile("what-is-held.json", "What is held about me, as JSON", as_json(held), "application/json"),
    )
    return told(head, attachments=files)


def everything(
    record: Any,
    rounds: Sequence[Round],
    trials: Sequence[Trial],
    reminded: Sequence[datetime],
    stands_in: Sequence[Team],
    traces: Traces,
    me: MemberId,
) -> Held:
    return {
        "record": asdict(record) if record is not None else None,
        "reminded": list(reminded),
        "reminders to come": [{"what": kind, "at": at} for kind, at in traces.dues],
        "messages sent": traces.sent,
        "messages waiting": traces.waiting,
        "leads": [team.team for team in stands_in if team.lead == me],
        "erasing asked": [t.team for t in stands_in if t.erasing and me in (t.erasing.by, t.erasing.second)],
        "guest of": [{"team": t.team, "takes part": t.guests[me]} for t in stands_in if me in t.guests],
        "to see done": [
            {"what": f.kind, "of": f.title, "due": f.due, "agreed": f.owner == me}
            for t in stands_in
            for f in t.fates.values()
            if me in (f.owner, f.asked)
        ],
        "rounds": [held_in(round_, me) for round_ in rounds],
        "trials": [held_in_trial(trial, me) for trial in trials],
    }


# --- in a round -------------------------------------------------------------------------------------------------------


def held_in(round_: Round, me: MemberId) -> Held:
    """Everything of one round that leads to the person: seat and roles, texts, votes, comparisons, forecasts."""
    return {
        "name": round_.name,
        "step": round_.step.value,
        **_part(round_, me),
        **_given(round_, me),
        **_chosen(round_, me),
    }


def _part(round_: Round, me: MemberId) -> Held:
    seat, progress = round_.seats.get(me), round_.progress
    return {
        "seat": None if seat is None else {"name": seat.name, "away": seat.away, "left": seat.left},
        "roles": _roles(round_, me),
        "roles offered": [{"role": ROLES[o.role], "until": o.until} for o in round_.role_offers if me in (o.to, o.by)],
        "deadline": progress.parts.get(me, progress.personal.get(me)),
        "done with the step": me in progress.done,
        "ballots locked": [name for name, book in _ballots(round_).items() if me in book.locked],
        "weighted votes": round_.weighted_voter == me,
        "counted on to compare": me in round_.crowd,
        "duplicates proposed": sum(p.proposed_by == me for p in round_.proposals),
    }


def _roles(round_: Round, me: MemberId) -> list[str]:
    holds = [name for role, name in ROLES.items() if round_.roles.holder(role) == me]
    stands_in = [f"{name}'s deputy" for role, name in ROLES.items() if round_.roles.deputy(role) == me]
    return holds + stands_in


def _ballots(round_: Round) -> dict[str, Ledger]:
    return {name: book for name, book in (("dots", round_.dots), ("ballot", round_.ballot)) if book is not None}


def _given(round_: Round, me: MemberId) -> Held:
    titles = {p.id: p.title for p in round_.plans.values()}
    dots = round_.dots.marks.get(me, ()) if round_.dots else ()
    votes = round_.ballot.marks.get(me, ()) if round_.ballot else ()
    return {
        "notes": [n.text for n in round_.notes.values() if n.author == me],
        "late notes": [n.text for n in round_.late_notes.values() if n.author == me],
        "texts without a place yet": [d.text for d in round_.drafts.values() if d.author == me],
        "dots": [round_.force_text(ForceId(m.option)) for m in dots],
        "decided and not announced yet": [asdict(h) for h in round_.held.values() if h.by == me],
        "suggested questions": [s.text for s in round_.suggestions if s.by == me],
        "precedents": [asdict(p) for p in round_.precedents if p.by == me],
        "jotted down": round_.jottings.get(me, ""),
        "begun and not handed in": [dict(begun.fields) for begun in round_.begun.values() if begun.author == me],
        "plans": [asdict(p) for p in round_.plans.values() if p.author == me],
        "votes": [titles.get(PlanId(m.option), m.option) for m in votes],
        "comparisons": [
            {"asked": c.axis, "first": titles.get(c.first), "second": titles.get(c.second), "answer": c.outcome}
            for c in round_.comparisons.get(me, ())
        ],
    }


def _chosen(round_: Round, me: MemberId) -> Held:
    """By the titles of the plans."""
    chosen = [(round_.plans[p].title if p in round_.plans else p, c) for p, c in round_.choices.items()]
    return {
        "trials asked to own": [title for title, c in chosen if c.asked == me],
        "trials owned": [title for title, c in chosen if c.owner == me],
        "trials offered to own": [title for title, c in chosen if me in c.offers],
        "plans to see done": [
            {"plan": round_.plans[p].title if p in round_.plans else p, "what": fate.kind, "due": fate.due}
            for p, fate in round_.fates.items()
            if fate.owner == me
        ],
        "trials declined": {title: reason for title, c in chosen for member, reason in c.declined if member == me},
        "first-week actions": [
            {"trial": title, "what": a.text, "due": a.due} for title, c in chosen for a in c.actions if a.who == me
        ],
        "forecasts in per cent": {title: c.forecasts[me] for title, c in chosen if me in c.forecasts},
        "forecasts by emoji": {title: list(c.digits[me]) for title, c in chosen if me in c.digits},
        "why a trial would fail": {title: c.feared[me] for title, c in chosen if me in c.feared},
    }


# --- in a trial -------------------------------------------------------------------------------------------------------


def held_in_trial(trial: Trial, me: MemberId) -> Held:
    """The person's part in one trial: what they do in it, and what they said for themselves alone."""
    closing = trial.closing
    parts = {
        "facilitator": trial.facilitator,
        "decision-maker": trial.decision_maker,
        "deputy": trial.deputy,
        "asked to own it": trial.asked,
        "of the team": me if me in trial.people else None,
    }
    return {
        "title": trial.title,
        "roles": [part for part, member in parts.items() if member == me],
        "owned": trial.owner == me,
        "actions": [asdict(action) for action in trial.actions if action.who == me],
        "live day moved": [asdict(moved) for moved in trial.postponed if moved.by == me],
        "weeks logged": [asdict(e) for week in (trial.early, *trial.weeks.values()) for e in week if e.by == me],
        "crossed lines decided": [asdict(settled) for settled in trial.settled if settled.by == me],
        "forecast in per cent": trial.chances.get(me),
        "why it would fail": trial.feared.get(me, ""),
        "learning": trial.learnings.get(me, ""),
        "asked about your name": me in trial.asked_to_sign,
        "shown with your name": [asdict(signed) for signed in trial.signed if signed.by == me],
        "review closed": asdict(closing) if closing is not None and closing.by == me else None,
    }


# --- as files ---------------------------------------------------------------------------------------------------------


def as_json(held: Held) -> str:
    return as_data(held, EXPLAINED)


def as_text(held: Held) -> str:
    return in_words("What coldframe holds about you", held, EXPLAINED)
