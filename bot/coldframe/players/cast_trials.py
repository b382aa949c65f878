"""What the scenario's people do about their trials, and about the next round when its date has come."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from coldframe.chat.room.records import Record
from coldframe.domain.names import Step
from coldframe.players.company import Company
from coldframe.players.hand import buttons_of, words_of
from coldframe.players.jobs import Act, Job, fill, press, press_value
from coldframe.players.scenario import Person, Trial
from coldframe.render.room import message_text
from coldframe.timing.windows import add_working_hours

SHORT_WHILE = 0.4  # working hours between a question and its answer


def _soon(cast: Company, person: Person, now: datetime, hours: float = SHORT_WHILE) -> datetime:
    return add_working_hours(cast.calendars[person.id], now, hours)


def _trial_of(cast: Company, record: Record) -> Trial | None:
    """The scenario's trial that a message speaks of."""
    words = words_of(record) + " ".join(b.says or b.label for b in buttons_of(record)) + _all_words(record)
    return next((t for t in cast.scenario.trials if cast.plan_title(t.plan) in words), None)


def _all_words(record: Record) -> str:
    return message_text(record.message) if record.message is not None else ""


def weekly(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """A nudge in the owner's direct messages: tick what is done, log the week in a plain line."""
    if record.place.kind != "direct":
        return
    trial = _trial_of(cast, record)
    offered = {b.action for b in buttons_of(record)}
    if trial is None:
        return
    if "trial.tick" in offered:
        for number, button in enumerate(b for b in buttons_of(record) if b.action == "trial.tick"):
            key = f"{person.id}/tick/{button.value}"
            yield Job(_soon(cast, person, now, 0.3 + number / 10), key, press(cast, person, record, "trial.tick", key))
    if "trial.live" in offered:
        yield _say_live(cast, person, record, trial, now)
    if "trial.log" in offered:
        yield from _log_next(cast, person, record, trial, now)


def _say_live(cast: Company, person: Person, record: Record, trial: Trial, now: datetime) -> Job:
    """On the planned day: it is live, or it will be a while later."""
    late = trial.late and "now. Is it?" not in _all_words(record)
    key = f"{person.id}/live/{trial.plan}{'/late' if late else ''}"
    if late:
        fields, value = {"date": trial.late, "reason": trial.late_because}, _value(record, "trial.live_move")
        return Job(_soon(cast, person, now), key, fill(cast, person, "trial.live_move", fields, value, key))
    return Job(_soon(cast, person, now), key, press(cast, person, record, "trial.live", key))


def _value(record: Record, action: str) -> str:
    return next(b.value for b in buttons_of(record) if b.action == action)


def _log_next(cast: Company, person: Person, record: Record, trial: Trial, now: datetime) -> Iterator[Job]:
    """The weeks that the bot asks for, each once, as a plain line in the thread of its question."""
    title = re.escape(cast.plan_title(trial.plan))
    weeks = [int(n) for n in re.findall(rf"{title}”: the numbers of week (\d+)", _all_words(record))]
    for place, week in enumerate(w for w in weeks if w <= len(trial.weeks)):
        key = f"log/{trial.plan}/{week}"
        act = _say(cast, person, record, f"week {week}: {trial.weeks[week - 1]}", key)
        yield Job(_soon(cast, person, now, SHORT_WHILE + place / 10), key, act)
    if trial.hand_over_to is not None and weeks == [1] and person.id != trial.hand_over_to:
        key = f"{person.id}/hand over/{trial.plan}"
        fields = {"member": trial.hand_over_to, "reason": "I am on leave for three weeks."}
        yield Job(_soon(cast, person, now, 1.9), f"{key}/list", _command(cast, person, "trials", f"{key}/list"))
        yield Job(_soon(cast, person, now, 2), key, fill(cast, person, "trial.hand_over", fields, "", key))


def _command(cast: Company, person: Person, words: str, key: str) -> Act:
    async def act() -> object:
        return await cast.hand(person).command(words, key=key)

    return act


def _say(cast: Company, person: Person, record: Record, words: str, key: str) -> Act:
    async def act() -> object:
        return await cast.hand(person).say(words, thread=record.id, key=key)

    return act


def accept(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    key = f"{person.id}/take over/{record.id}"
    yield Job(_soon(cast, person, now), key, press(cast, person, record, "trial.accept", key))


def learn(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """Before the review each writes what they learnt, in private."""
    trial = _trial_of(cast, record)
    if trial is None or person.id not in trial.learnt or "review" not in words_of(record).lower():
        return
    key = f"{person.id}/learnt/{trial.plan}"
    value = next(b.value for b in buttons_of(record) if b.action == "trial.learn")
    act = fill(cast, person, "trial.learn", {"text": trial.learnt[person.id]}, value, key)
    yield Job(_soon(cast, person, now), key, act)


def close(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """The review is held: the owner adds what was learnt and what follows."""
    trial = _trial_of(cast, record)
    if trial is None or not trial.learning or not cast.owns(person, trial.plan):
        return
    key = f"{person.id}/close/{trial.plan}"
    value = next(b.value for b in buttons_of(record) if b.action == "trial.close")
    fields = {"learning": trial.learning, "decision": trial.decision, "reason": trial.reason}
    fields |= {"what": trial.what, "owner": person.id, "date": trial.until}
    yield Job(_soon(cast, person, now, 1), key, fill(cast, person, "trial.close", fields, value, key))


def decide(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """A harm limit is crossed: the decision-maker looks into it, and lets the trial go on."""
    trial = _trial_of(cast, record)
    if trial is None or not trial.goes_on or not cast.is_(person, "decision_maker"):
        return
    key = f"{person.id}/goes on/{trial.plan}"
    value = next(b.value for b in buttons_of(record) if b.action == "trial.guard" and b.label.startswith("Go on"))
    act = fill(cast, person, "trial.guard", {"reason": trial.goes_on}, value, key)
    yield Job(_soon(cast, person, now, 1), key, act)


def ask_for_report(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """Once the next round runs, the lead has a page made of the one before, below the digest."""
    if cast.scenario.again and cast.is_(person, "facilitator") and "Summer round" in _all_words(record):
        key = f"{person.id}/report"
        yield Job(_soon(cast, person, now), key, press(cast, person, record, "report.show", key))


def make_report(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    wanted = f"Round: {cast.scenario.name}"
    button = next((b for b in buttons_of(record) if b.label == wanted and b.action == "report.make"), None)
    if button is not None:
        key = f"{person.id}/report/make"
        yield Job(now + timedelta(minutes=2), key, press_value(cast, person, "report.make", button.value, key))


def start_late(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """A place is free: the plan that was refused one starts after all."""
    if not cast.is_(person, "facilitator"):
        return
    for trial in cast.scenario.trials:
        button = next(
            (b for b in buttons_of(record) if b.action == "trial.plan" and cast.plan_title(trial.plan)[:40] in b.label),
            None,
        )
        if trial.starts_late is not None and button is not None:
            key = f"{person.id}/start/{trial.plan}"
            steps = next(p.steps for p in cast.scenario.plans if p.key == trial.plan)
            fields = {"owner": trial.starts_late, "actions": f"{steps[0]} | in 3 working days"}
            yield Job(_soon(cast, person, now), key, fill(cast, person, "trial.plan", fields, button.value, key))


def again(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """The date of the next round has come: the facilitator sets it up from the round before, and starts it."""
    if cast.scenario.again and cast.is_(person, "facilitator") and record.place.kind == "direct":
        key = f"{person.id}/again"
        fields = {"name": "Summer round"}
        yield Job(_soon(cast, person, now), key, fill(cast, person, "round.again", fields, "", key))


def begin(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """The second round is on the desk: start it. The first is started by the play itself."""
    if cast.scenario.again and "Summer round" in words_of(record) and cast.is_(person, "facilitator"):
        key = f"{person.id}/begin"
        yield Job(now + timedelta(minutes=20), key, press(cast, person, record, "round.start", key))


def one_too_many(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """With both places taken the decision-maker tries a third plan, and is told why not."""
    wanted = cast.scenario.too_many
    if wanted is None or not cast.is_(person, "decision_maker"):
        return
    chosen = sum(b.action == "choice.drop" for b in buttons_of(record))
    button = next(
        (b for b in buttons_of(record) if b.action == "choice.make" and cast.plan_title(wanted)[:45] in b.label), None
    )
    if chosen == 2 and button is not None:
        key = f"{person.id}/too many"

        async def act() -> object:
            return await cast.hand(person).press("choice.make", button.value, key=key)

        yield Job(cast.at(person, now, Step.COMMITMENT, 0.05), key, act)


def to_do(action: str, words: str) -> Callable[[Company, Person, Record, datetime], Iterator[Job]]:
    """What was decided: each says yes to what they are asked, and that it is done on its day."""

    def answered(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
        if record.place.kind == "direct" and words in _all_words(record):
            key = f"{person.id}/{action}/{record.id}"
            yield Job(_soon(cast, person, now), key, press(cast, person, record, action, key))

    return answered


REFLEXES = {
    "todo.accept": to_do("todo.accept", "Would you see this done"),
    "todo.agree": to_do("todo.agree", "Do you agree"),
    "todo.done": to_do("todo.done", "Is it done?"),
    "trial.log": weekly,
    "trial.live": weekly,
    "trial.tick": weekly,
    "trial.accept": accept,
    "trial.learn": learn,
    "trial.close": close,
    "trial.guard": decide,
    "report.show": ask_for_report,
    "report.make": make_report,
    "trial.plan": start_late,
    "round.again": again,
    "round.start": begin,
    "choice.drop": one_too_many,
}
