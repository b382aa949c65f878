"""The commitment in the scenario: who is chosen, asked and agrees, and what goes on the card."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from coldframe.chat.room.records import Record
from coldframe.domain.names import Step
from coldframe.message.nodes import Button, Facts, Form, Paragraph, plain
from coldframe.players.company import Company
from coldframe.players.hand import buttons_of, words_of
from coldframe.players.jobs import Job, fill, press, press_value
from coldframe.players.scenario import Person


def settle(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """The commitment's card: the decision-maker chooses, the facilitator asks owners and sets the dates."""
    commitment = cast.scenario.commitment
    if commitment is None:
        return
    offered = buttons_of(record)
    if cast.is_(person, "decision_maker"):
        yield from _choose(cast, person, record, now)
        if any(b.action == "round.commit" for b in offered):
            key = f"{person.id}/commit"
            if cast.room.log.is_done(key):  # the owner had to read something first
                key = f"{key}/again"
            yield Job(cast.at(person, now, Step.COMMITMENT, 0.2), key, press(cast, person, record, "round.commit", key))
    if cast.is_(person, "facilitator"):
        yield from _ask_owners(cast, person, record, now)
        yield from _fates(cast, person, record, now)
        key = f"{person.id}/next round"
        fields = {"date": commitment.next_round}
        yield Job(
            cast.at(person, record.at, Step.COMMITMENT, 0.8),
            key,
            fill(cast, person, "nextround.date", fields, "", key),
        )
    yield from _own(cast, person, record, now)
    yield from _forecast(cast, person, record, now)


def seal_without(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """A harm measure has no limit: the decision-maker was asked for it, and seals all the same."""
    if record.place.kind == "direct" and cast.is_(person, "decision_maker"):
        key = f"{person.id}/seal without/{record.id}"
        yield Job(now + timedelta(minutes=1), key, press(cast, person, record, "round.commit", key))


def _fates(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """Once everybody knows what is tried, the facilitator says what becomes of the other plans, all on one form."""
    assert cast.scenario.commitment is not None
    to_choose = [b.label for b in buttons_of(record) if b.action == "choice.make"]
    waits = any(cast.plan_title(o.plan)[:45] in label for o in cast.scenario.commitment.owners for label in to_choose)
    button = next((b for b in buttons_of(record) if b.action == "fate.settle"), None)
    if button is None or waits:
        return
    key = f"{person.id}/fates"

    async def act() -> object:
        hand = cast.hand(person)
        reply = await hand.open("fate.settle", button.value, key=key)
        if reply.form is None:
            return reply
        fields = _settled(cast, reply.form)
        reply = await cast.room.submit(person.id, reply.form.action, reply.form.value, fields)
        if reply.form is None:
            return reply
        return await cast.room.submit(
            person.id, reply.form.action, reply.form.value, _detailed(cast, reply.form), key=key
        )

    yield Job(cast.at(person, now, Step.COMMITMENT, 0.25), key, act)


def _settled(cast: Company, form: Form) -> dict[str, str]:
    """Each plan's three fields, by the title that stands at the first of them."""
    assert cast.scenario.commitment is not None
    wanted = {cast.plan_title(fate.plan): fate for fate in cast.scenario.commitment.fates}
    found: dict[str, str] = {}
    for field in (f for f in form.fields if f.name.endswith(".fate")):
        fate = next((f for title, f in wanted.items() if field.label.startswith(title[:50])), None)
        plan = field.name.removesuffix(".fate")
        found |= {field.name: fate.fate if fate else "kept", f"{plan}.why": fate.why if fate else "Later."}
    return found


def _detailed(cast: Company, form: Form) -> dict[str, str]:
    """Who sees it done, by when and where, of what is to be done."""
    assert cast.scenario.commitment is not None
    found: dict[str, str] = {}
    for field in (f for f in form.fields if f.name.endswith(".owner")):
        fates = {cast.plan_title(fate.plan): fate for fate in cast.scenario.commitment.fates}
        fate = next(fate for title, fate in fates.items() if field.label.startswith(title[:50]))
        name, when, where = (part.strip() for part in fate.who.split("|"))
        who, plan = next(o.value for o in field.options if o.label == name), field.name.removesuffix(".owner")
        found |= {field.name: who, f"{plan}.due": when, f"{plan}.where": where}
    return found


def _choose(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    assert cast.scenario.commitment is not None
    for owner in cast.scenario.commitment.owners:
        title = cast.plan_title(owner.plan)
        button = next((b for b in buttons_of(record) if b.action == "choice.make" and title[:45] in b.label), None)
        if button is not None:
            key = f"{person.id}/choose/{owner.plan}"
            yield Job(
                cast.at(person, record.at, Step.COMMITMENT, 0.5),
                key,
                press_value(cast, person, "choice.make", button.value, key),
            )


def _plan_buttons(cast: Company, record: Record, action: str) -> dict[str, Button]:
    """The buttons of the chosen plans by the scenario's key; their order on the card is that of the choices."""
    assert cast.scenario.commitment is not None
    assert record.message is not None
    titles = [plain(b.line) for b in record.message.blocks if isinstance(b, Paragraph)]
    chosen = [t.removeprefix("Chosen: ") for t in titles if t.startswith("Chosen: ")]
    buttons = [b for b in buttons_of(record) if b.action == action]
    by_title = dict(zip(chosen, buttons, strict=False))
    return {
        o.plan: by_title[cast.plan_title(o.plan)]
        for o in cast.scenario.commitment.owners
        if cast.plan_title(o.plan) in by_title
    }


def _ask_owners(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """Asks the first on the list; the next one when the one before has declined."""
    assert cast.scenario.commitment is not None
    declined = _facts(record).count("Declined")
    buttons = _plan_buttons(cast, record, "owner.ask")
    for owner in cast.scenario.commitment.owners:
        if owner.plan not in buttons:
            continue
        for turn, who in enumerate(owner.asked):
            if turn and not (owner.asked[turn - 1] in owner.declines and declined):
                break
            key = f"{person.id}/ask/{owner.plan}/{who}"
            fields = {"member": who}
            act = fill(cast, person, "owner.ask", fields, buttons[owner.plan].value, key)
            yield Job(cast.at(person, now, Step.COMMITMENT, 0.3), key, act)


def _facts(record: Record) -> list[str]:
    assert record.message is not None
    return [label for b in record.message.blocks if isinstance(b, Facts) for label, _ in b.rows]


def answer_ownership(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    commitment = cast.scenario.commitment
    if commitment is None:
        return
    words = words_of(record)
    owner = next((o for o in commitment.owners if cast.plan_title(o.plan) in words and person.id in o.asked), None)
    if owner is None:
        return
    key = f"{person.id}/own/{owner.plan}"
    if person.id in owner.declines:
        fields = {"reason": owner.declines[person.id]}
        act = fill(cast, person, "owner.decline", fields, "", key)
    else:
        act = press(cast, person, record, "owner.accept", key)
    yield Job(cast.at(person, record.at, Step.COMMITMENT, 0.5), key, act)


def _own(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    """An owner draws up the first-week actions and the day on which it should be live once they own it."""
    assert cast.scenario.commitment is not None
    for owner in cast.scenario.commitment.owners:
        accepted = next((w for w in owner.asked if w not in owner.declines), None)
        if accepted != person.id or f"{person.name}" not in _owners(record):
            continue
        criterion = _criterion(cast, owner.plan)
        for action, fields in (
            *((("criterion.write", criterion),) if criterion else ()),
            ("actions.write", {"actions": "\n".join(owner.actions)} if owner.actions else {}),
            ("live.date", {"date": owner.live}),
        ):
            buttons = _plan_buttons(cast, record, action)
            if owner.plan in buttons:
                key = f"{person.id}/{action}/{owner.plan}"
                act = fill(cast, person, action, fields, buttons[owner.plan].value, key)
                yield Job(cast.at(person, now, Step.COMMITMENT, 0.3), key, act)


def _criterion(cast: Company, plan: str) -> dict[str, str]:
    """What its author did not write into the plan."""
    measure = next(p.measure for p in cast.scenario.plans if p.key == plan)
    found = {"lag": str(measure.lag or ""), "baseline_weeks": "\n".join(measure.weeks_before)}
    found |= {"harm_usual": measure.harm_usual, "harm_limit": measure.harm_limit}
    return {name: words for name, words in found.items() if words}


def _owners(record: Record) -> list[str]:
    assert record.message is not None
    return [plain(v) for b in record.message.blocks if isinstance(b, Facts) for label, v in b.rows if label == "Owner"]


def _forecast(cast: Company, person: Person, record: Record, now: datetime) -> Iterator[Job]:
    assert cast.scenario.commitment is not None
    chance = cast.scenario.commitment.forecasts.get(person.id)
    if chance is None:
        return
    for plan, button in _plan_buttons(cast, record, "forecast.write").items():
        key = f"{person.id}/forecast/{plan}"
        act = fill(cast, person, "forecast.write", {"chance": str(chance)}, button.value, key)
        yield Job(cast.at(person, now, Step.COMMITMENT, 0.25), key, act)
