"""Setting a round up: the form, the roster from the channel, the proposal with the weight's power, the start."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from dataclasses import replace

from bot.domain.commands import Start
from bot.domain.names import LeverId, MemberId, RoundId
from bot.domain.people import power_share
from bot.domain.refusals import Refused
from bot.domain.state import DEFAULT_LEVERS, Roles, Round, Seat, Settings
from bot.domain.texts import accepted
from bot.engine import leftovers, people
from bot.engine.turn import Turn
from bot.ports.chat import Inbound, Person, Place, Reply, Submitted
from bot.speech import answers, forms, setup_words
from bot.speech.message import Option
from bot.speech.refusals import refusal

Form = Callable[[Turn, Inbound, Submitted], Awaitable[Reply]]
LONGEST = {"question": 300, "name": 40}  # characters; levers may be left out


async def form(turn: Turn, place: Place) -> Reply:
    """The setup form with the channel's people to choose from; a word when this is no channel."""
    if place.kind != "channel":
        return Reply(note=setup_words.in_a_channel())
    persons = team(turn, place)
    options = [Option(p.id, p.name[:75]) for p in persons]
    levers = ", ".join(name for _, name in DEFAULT_LEVERS)
    form_ = replace(forms.new_round(levers, options), value=place.id)
    return Reply(form=await leftovers.prefilled(turn, place, form_))


def team(turn: Turn, place: Place) -> list[Person]:
    """The channel's members who can take part: no bots, no guests, nobody from outside or gone."""
    return [p for p in turn.told.members(place) if not (p.is_bot or p.is_guest or p.is_foreign or p.is_gone)]


async def _new_round(turn: Turn, event: Inbound, what: Submitted) -> Reply:
    """Makes the round in setup and shows it to its facilitator; the start is one more press."""
    fields = what.fields
    weight = fields.get("weight", "2").strip() or "2"
    if not (weight.isascii() and weight.isdigit() and 1 <= int(weight) <= 10):
        return Reply(errors={"weight": "Write a whole number from 1 to 10."})
    levers = read_levers(fields.get("levers", ""))
    if not 1 <= len(levers) <= 6:
        return Reply(errors={"levers": "A round has one to six levers, separated by commas."})
    problem = _problems(fields, event.person)
    if problem:
        return Reply(errors=problem)
    settings = Settings(
        question=fields["question"].strip(),
        levers=levers,
        pace="live" if fields.get("pace") == "live" else "days",
        weight=int(weight),
    )
    roles = Roles(
        facilitator=MemberId(event.person),
        decision_maker=MemberId(fields.get("decision_maker", "")),
        facilitator_deputy=MemberId(fields.get("facilitator_deputy", "")),
        decision_deputy=MemberId(fields.get("decision_deputy", "")),
    )
    place = Place(event.place.tenant, "channel", what.value or event.place.id)
    await open_round(turn, place, fields["name"].strip(), settings, roles, team(turn, place))
    return Reply()


def _problems(fields: dict[str, str] | object, facilitator: str) -> dict[str, str]:
    assert hasattr(fields, "get")
    found = {}
    for name, most in LONGEST.items():
        try:
            accepted(fields.get(name, ""), most, field=name)
        except Refused as refused:
            found[name] = answers.sentence(refusal(refused))
    if fields.get("decision_deputy") == fields.get("decision_maker"):
        found["decision_deputy"] = "A deputy is somebody else than the decision-maker."
    if fields.get("facilitator_deputy") == facilitator:
        found["facilitator_deputy"] = "A deputy is somebody else than yourself."
    return found


def read_levers(text: str) -> tuple[tuple[LeverId, str], ...]:
    """Names separated by commas, with ids made from them."""
    names = [n.strip() for n in text.split(",") if n.strip()]
    if not names:
        return DEFAULT_LEVERS
    out: dict[LeverId, str] = {}
    for number, name in enumerate(names, 1):
        slug = LeverId(re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:40] or f"lever-{number}")
        if name[:60].casefold() not in (known.casefold() for known in out.values()):
            out[LeverId(f"lever-{number}") if slug in out else slug] = name[:60]
    return tuple(out.items())


async def open_round(
    turn: Turn, place: Place, name: str, settings: Settings, roles: Roles, persons: list[Person]
) -> Round:
    """A round in setup, with everybody's record known; its facilitator gets the proposal."""
    taken = {h.name for h in await turn.uow.heads(place.tenant, channel=place.id)}
    unique = name if name not in taken else next(f"{name} {n}" for n in range(2, 100) if f"{name} {n}" not in taken)
    seats = {}
    for person in persons:
        record = await people.known(turn.uow, place.tenant, person)
        away = record.away_until is not None and record.away_until > turn.now
        seats[MemberId(person.id)] = Seat(MemberId(person.id), person.name, away=away)
    ids = turn.kit.ids
    round_ = Round(RoundId(ids.new("r")), place.tenant, place.id, unique[:60], settings, seats, roles, ids.seed())
    await turn.uow.add_round(round_, turn.now)
    calendars = await people.calendars(turn.uow, place.tenant, seats)
    hours = [(seats[MemberId(m)].name, people.hours_words(c)) for m, c in calendars.items()]
    share = power_share(len(seats), settings.weight)
    turn.tell(round_, roles.facilitator, "setup", setup_words.proposal(round_, hours, share))
    await leftovers.offer(turn, round_)
    return round_


async def start(turn: Turn, round_: Round, by: MemberId) -> Round:
    return await turn.act(round_, Start(by))


FORMS: dict[str, Form] = {"round.new": _new_round}
