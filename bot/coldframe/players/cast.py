"""The scenario's people: what each does when the bot asks, and when. They only see the room, as people would.

Every job has a key of its own and follows from what stands in the room, so that a run that was killed goes on where
it was: jobs that were done are known by their keys.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from coldframe.chat.room.records import Record
from coldframe.domain.names import Step
from coldframe.domain.order import shuffled
from coldframe.engine.round.setup import read_levers
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button
from coldframe.players import cast_commitment, cast_trials
from coldframe.players.company import Company
from coldframe.players.hand import buttons_of, words_of
from coldframe.players.jobs import Act, Job, fill, press
from coldframe.players.scenario import Person
from coldframe.render.room import message_text

NOTES_SHEET = "what holds us back, and what drives us?"
EMOJI = ("🌱", "🌿", "🌻", "🌵", "🍁", "🍄")


class Cast(Company):
    """Looks at what changed in the room and says who will do what, when."""

    def reactions(self, record: Record, now: datetime) -> Iterator[Job]:
        """The jobs that a message or a changed card brings about."""
        if record.message is None or record.gone:
            return
        if "from now on" in words_of(record) and " acts as " in words_of(record):
            self.handed_over.add("decision_maker" if "decision-maker" in words_of(record) else "facilitator")
        who = [record.place.id] if record.place.kind == "direct" else list(self.people)
        offered = {b.action for b in buttons_of(record)}
        for person_id in who:
            person = self.people.get(person_id)
            if person is None or person.silent:
                continue
            for table in (REFLEXES, cast_trials.REFLEXES):
                for action, reflex in table.items():
                    if action in offered:
                        yield from reflex(self, person, record, now)


Reflex = Callable[[Company, Person, Record, datetime], Iterator[Job]]


# --- notes ---


def _confirm_hours(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    act = press(cast, person, record, "hours.confirm", key := f"{person.id}/hours")
    yield Job(cast.at(person, record.at, Step.NOTES, 0.05), key, act)


def _write_notes(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """When the person's sheet appears: their notes one by one, then done. In whatever state: a run that is resumed
    may find it with some of them written."""
    if NOTES_SHEET not in words_of(record):
        return
    mine = [(i, n) for i, n in enumerate(cast.scenario.notes) if n.by == person.id and not n.late]
    for place, (number, _) in enumerate(mine, 1):
        key = f"{person.id}/note/{number}"
        at = cast.at(person, record.at, Step.NOTES, place / (len(mine) + 1))
        yield Job(at, key, _note_act(cast, person, number, key))
    if mine:
        key = f"{person.id}/notes/done"
        yield Job(cast.at(person, record.at, Step.NOTES, 1), key, press(cast, person, record, "step.done", key))


def _note_act(cast: Company, person: Person, number: int, key: str) -> Act:
    note = cast.scenario.notes[number]
    sign = "-" if note.side == "restraining" else "+"

    async def act() -> object:
        hand = cast.hand(person)
        if note.way == "plain":
            return await hand.say(f"{sign} {note.lever}: {note.text}", key=key)
        if note.way == "form":
            fields = {"side": note.side, "text": note.text}
            return await hand.fill("note.write", fields, _slug(note.lever), key=key)
        root = next(r for r in reversed(hand.seen()) if NOTES_SHEET in words_of(r))
        return await hand.say(f"{sign} {note.lever}: {note.text}", thread=root.id, key=key)

    return act


def _slug(lever: str) -> str:
    return read_levers(lever)[0][0]


def _consent(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    key = f"{person.id}/consent"
    yield Job(cast.at(person, record.at, Step.NOTES, 0.2), key, press(cast, person, record, "note.consent", key))


# --- focus, merge ---


def _focus(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    focus = cast.scenario.focus
    if focus is None:
        return
    key = f"{person.id}/focus/{record.id}"

    async def act() -> object:
        return await cast.hand(person).fill("focus.pick", {"reason": focus.reason}, _slug(focus.lever), key=key)

    yield Job(cast.at(person, record.at, Step.FOCUS, 1), key, act)
    late_notes = [n for n in cast.scenario.notes if n.late]
    for number, note in enumerate(late_notes):
        writer = cast.people.get(note.by)
        if writer is not None and not writer.silent:
            late = f"{writer.id}/late/{number}"
            yield Job(
                cast.at(writer, record.at, Step.FOCUS, 0.5), late, _late_act(cast, writer, note.lever, note.text, late)
            )


def _late_act(cast: Company, person: Person, lever: str, text: str, key: str) -> Act:
    async def act() -> object:
        return await cast.hand(person).say(f"- {lever}: {text}", key=key)

    return act


def _settle_late(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    key = f"{person.id}/late/hold/{record.id}"
    yield Job(cast.at(person, record.at, Step.FOCUS, 0.1), key, press(cast, person, record, "late.hold", key))


def _answer_proposal(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """Yes to what the scenario calls the same, no to the rest."""
    if not cast.is_(person, "facilitator") and record.place.kind == "direct":
        return
    words = words_of(record)
    same = any(sum(cast.note_text(k)[:200] in words for k in group) >= 2 for group in cast.scenario.same)
    pair = next(b.value for b in buttons_of(record) if b.action == "merge.yes")
    key = f"{person.id}/merge/{pair}"
    action = "merge.yes" if same else "merge.no"
    at = max(now + timedelta(seconds=20), cast.at(person, record.at, Step.MERGE, 0.6))
    yield Job(at, key, press(cast, person, record, action, key))


def _close_merge(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """The facilitator's desks end with a press of their own, once everything on them is done."""
    if "force" in words_of(record) and "left to answer" in words_of(record):
        key = f"{person.id}/merge/close"
        yield Job(cast.at(person, record.at, Step.MERGE, 1), key, press(cast, person, record, "step.close", key))


# --- votes ---


def _vote(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """A ballot: this person's votes on it, by emoji or by button."""
    dots = "+1 dot" in {b.label for b in buttons_of(record)}
    step = Step.DOTS if dots else Step.BALLOT
    chosen = (cast.scenario.dots if dots else cast.scenario.ballot).get(person.id, [])
    texts = [cast.note_text(k) if dots else cast.plan_title(k) for k in chosen]
    if person.votes_by != "button" and any(b.action == "ballot.lines" for b in buttons_of(record)):
        key = f"{person.id}/{step}/lines"
        yield Job(cast.at(person, record.at, step, 0.2), key, press(cast, person, record, "ballot.lines", key))
    for number, text in enumerate(texts):
        option = _option_for(record, text) or next(
            (o for t in _joined_texts(cast).get(text, ()) if dots and (o := _option_for(record, t))), None
        )
        if option is not None:
            key = f"{person.id}/{step}/{record.id}/{number}"
            again = texts[:number].count(text)
            part = 0.3 + 0.5 * (again + 1) / (len(chosen) + 1)
            act = _vote_act(cast, person, record, option, again, key)
            yield Job(cast.at(person, record.at, step, part), key, act)


def _option_for(record: Record, text: str) -> Button | None:
    """The button for one more vote on the option that says this."""
    short = theirs(text, 60).text
    return next((b for b in buttons_of(record) if b.action == "vote.cast" and (b.says or "").endswith(short)), None)


def _joined_texts(cast: Company) -> dict[str, tuple[str, ...]]:
    """For each note of a joined group, the wordings that may stand for it."""
    groups = [tuple(cast.note_text(k) for k in group) for group in cast.scenario.same]
    return {text: group for group in groups for text in group}


def _vote_act(cast: Company, person: Person, record: Record, option: Button, number: int, key: str) -> Act:
    """By the button, or by an emoji on the option's line in the thread; whoever finds it done does nothing."""
    hand, words = cast.hand(person), (option.says or "").partition(": ")[2].rstrip("…")

    def mine() -> int:
        sheet = next((message_text(r.message) for r in hand.seen() if r.id == record.id and r.message), "")
        found = re.search(rf"{re.escape(words)}.* · (\d+) \w+ from you", sheet)
        return int(found[1]) if found else 0

    async def act() -> object:
        if mine() > number:
            return None
        if person.votes_by == "button":
            return await cast.room.press(person.id, record.id, option.action, option.value, key=key)
        lines = (r for r in hand.seen() if r.place.kind == "direct" and not r.gone and not buttons_of(r))
        line = next((r for r in lines if words_of(r).partition(". ")[2].startswith(words)), None)
        if line is not None:
            await hand.react(line, EMOJI[number], key=key)
        return None

    return act


def _done_voting(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    if cast.scenario.dots.get(person.id) and "dot" in words_of(record):
        key = f"{person.id}/dots/done"
        yield Job(cast.at(person, record.at, Step.DOTS, 1), key, press(cast, person, record, "step.done", key))


def _lock(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    if not cast.scenario.ballot.get(person.id):
        return
    key = f"{person.id}/ballot/lock"
    yield Job(cast.at(person, record.at, Step.BALLOT, 0.9), key, press(cast, person, record, "ballot.lock", key))


def _compare(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """One comparison after the other, by the scenario's true values and this person's own eye."""
    button = next(b for b in buttons_of(record) if b.action == "compare.first")
    _, axis, first, second = button.value.split("|")
    key = f"{person.id}/compare/{axis}/{first}/{second}"
    a, b = (_value(cast, person, record, axis, side) for side in ("A", "B"))
    action = "compare.same" if abs(a - b) < 0.15 else "compare.first" if a > b else "compare.second"
    at = max(now, cast.at(person, record.at, Step.BALLOT, 0.05)) + timedelta(seconds=20)
    yield Job(at, key, press(cast, person, record, action, key))


def _value(cast: Company, person: Person, record: Record, axis: str, side: str) -> float:
    label = next(b.says or "" for b in buttons_of(record) if b.label == side).removeprefix(f"{side}: ")
    plan = next((p for p in cast.scenario.plans if p.title == label), None)
    if plan is None:
        return 0.0
    order = shuffled(range(100), cast.scenario.seed, f"{person.id}/{axis}/{plan.key}")
    own_eye = (order[0] - 50) / 100  # half a point up or down, always the same for this person and plan
    return (plan.impact if axis == "impact" else plan.effort) + own_eye


# --- questions, precedents, plans ---


def _questions(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """The facilitator writes the scenario's questions, force after force, then publishes."""
    buttons = buttons_of(record)
    word = next(b for b in buttons if b.action == "question.write")
    found = [n for n, q in enumerate(cast.scenario.questions) if _is_for(word, _texts_of(cast, q.about))]
    for number in found:
        key = f"{person.id}/question/{number}"
        act = fill(cast, person, "question.write", {"text": cast.scenario.questions[number].text}, word.value, key)
        yield Job(cast.at(person, record.at, Step.QUESTIONS, 0.3 + 0.1 * number), key, act)
    following = next((b for b in buttons if b.action == "question.next"), None)
    written = sum(b.action == "question.drop" for b in buttons)
    if not found and following is not None:
        key = f"{person.id}/next/{written}/{word.value}"
        act = press(cast, person, record, "question.next", key)
        yield Job(cast.at(person, record.at, Step.QUESTIONS, 0.3), key, act)
    if written:
        key = f"{person.id}/questions/publish"
        yield Job(cast.at(person, record.at, Step.QUESTIONS, 1), key, press(cast, person, record, "step.close", key))


def _texts_of(cast: Company, note: str) -> set[str]:
    text = cast.note_text(note)
    return {text, *_joined_texts(cast).get(text, ())}


def _is_for(button: Button, texts: set[str]) -> bool:
    return button.action == "question.write" and any((button.says or "").endswith(theirs(t, 60).text) for t in texts)


def _precedents(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    if record.place.kind != "direct":
        return
    mine = [(i, p) for i, p in enumerate(cast.scenario.precedents) if p.by == person.id]
    for place, (number, precedent) in enumerate(mine, 1):
        key = f"{person.id}/precedent/{number}"
        fields = {
            "question#": str(precedent.question),
            "title": precedent.title,
            "idea": precedent.idea,
            "details": precedent.details,
            "source": precedent.source,
            "outside": "yes" if precedent.outside else "",
        }
        at = cast.at(person, record.at, Step.PRECEDENTS, place / (len(mine) + 1))
        yield Job(at, key, fill(cast, person, "precedent.write", fields, "", key))
    struck = cast.scenario.jottings.get(person.id)
    if struck:
        key = f"{person.id}/jotted"
        act = fill(cast, person, "jot.write", {"text": struck}, "", key)
        yield Job(cast.at(person, record.at, Step.PRECEDENTS, 0.9), key, act)
    key = f"{person.id}/precedents/done"
    yield Job(cast.at(person, record.at, Step.PRECEDENTS, 1), key, press(cast, person, record, "step.done", key))


def _plans(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    if record.place.kind != "direct" or "write a plan, one page" not in words_of(record):
        return
    mine = [p for p in cast.scenario.plans if p.by == person.id]
    for place, plan in enumerate(mine, 1):
        key = f"{person.id}/plan/{plan.key}"
        measure = plan.measure
        fields = {
            "question#": str(plan.question),
            "title": plan.title,
            "hypothesis": plan.hypothesis,
            "steps": "\n".join(plan.steps),
            "measure": measure.name,
            "kind": measure.kind,
            "weeks": str(plan.weeks),
            "baseline": measure.baseline,
            "target": measure.target,
            "weekly": measure.weekly,
            "counted": measure.counted,
            "stop_line": measure.stop_line,
            "harm": measure.harm,
            "checked_by": plan.checked_by,
            "might_fail": plan.might_fail,
            "chance": "" if plan.chance is None else str(plan.chance),
            "borrows~": plan.borrows,
        }
        at = cast.at(person, record.at, Step.PLANS, place / (len(mine) + 1))
        yield Job(at, key, fill(cast, person, "plan.write", fields, "", key))
    key = f"{person.id}/plans/done"
    yield Job(cast.at(person, record.at, Step.PLANS, 1), key, press(cast, person, record, "step.done", key))


def _caution(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """What a plan touches in earnest its page names somebody for; where the bot only asks, it does not."""
    value = next(b.value for b in buttons_of(record) if b.action == "plan.not_so")
    key = f"{person.id}/not so/{value}"
    yield Job(record.at + timedelta(minutes=3), key, press(cast, person, record, "plan.not_so", key))


# --- when too few are in ---


def _when_stuck(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    choice = cast.scenario.when_stuck
    if not cast.is_(person, "facilitator") or choice == "wait" or "people that it needs" not in words_of(record):
        return
    key = f"{person.id}/stuck/{record.id}"
    if choice == "cancel":
        act = fill(cast, person, "round.cancel", {"reason": "nobody had time"}, "", key)
    else:
        act = press(cast, person, record, "step.extend" if choice == "extend" else "step.close", key)
    yield Job(cast.at(person, record.at, Step.NOTES, 0.3), key, act)


# --- in one sitting ---


def _break(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    if cast.is_(person, "facilitator") and cast.scenario.takes_breaks:
        key = f"{person.id}/break/{record.id}"
        yield Job(record.at + timedelta(seconds=30), key, press(cast, person, record, "break.take", key))


def _until_done(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    yield from _write_notes(cast, person, record, now)
    yield from _done_voting(cast, person, record, now)


REFLEXES: dict[str, Reflex] = {
    "hours.confirm": _confirm_hours,
    "note.consent": _consent,
    "focus.pick": _focus,
    "late.hold": _settle_late,
    "merge.yes": _answer_proposal,
    "vote.cast": _vote,
    "ballot.lock": _lock,
    "compare.first": _compare,
    "question.write": _questions,
    "precedent.write": _precedents,
    "plan.write": _plans,
    "plan.not_so": _caution,
    "nextround.date": cast_commitment.settle,
    "round.commit": cast_commitment.seal_without,
    "owner.accept": cast_commitment.answer_ownership,
    "round.cancel": _when_stuck,
    "break.take": _break,
    "step.close": _close_merge,
    "step.done": _until_done,
}
