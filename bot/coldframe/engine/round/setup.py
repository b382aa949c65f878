"""Setting a round up: the form, the roster from the channel, the proposal with the weight's power, the start."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from coldframe.domain.facts import Fact
from coldframe.domain.names import LeverId, MemberId, Role, RoundId, Step
from coldframe.domain.people.seats import power_share
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.correcting import SetAnew, SetUpAnew
from coldframe.domain.settings import RANGES, Pace
from coldframe.domain.state import DEFAULT_LEVERS, Roles, Round, Seat, Settings
from coldframe.domain.texts import accepted
from coldframe.domain.who_may import Act
from coldframe.engine.core import lives, members
from coldframe.engine.core.lookups import not_in_channel
from coldframe.engine.core.requests import Answers, Request, RoundRequest, of_round
from coldframe.engine.core.turn import Follow, Turn
from coldframe.engine.reading import Unreadable, lever_lines, window_lines
from coldframe.engine.register import leftovers, teams
from coldframe.engine.round import guests, resting
from coldframe.message.nodes import Field, Form, Option
from coldframe.ports.chat import Denial, Hindrance, Person, Place, Reply
from coldframe.speech import answers
from coldframe.speech.names import message_name
from coldframe.speech.refusals import refusal
from coldframe.speech.register import register_words
from coldframe.speech.round import forms, setup_words

NUMBERS = ("weight", "dots", "plan_votes")
MAX_MEANINGS = 800  # characters
MAX_LENGTHS = {"question": 300, "name": 40}  # characters; levers may be left out


MAX_OPEN_ROUNDS = 20  # in a workspace


async def form(request: Request, place: Place) -> Reply:
    """The setup form with the channel's people to choose from; a word when this is no channel. Raises Refused."""
    turn = request.turn
    if place.kind != "channel":
        return Reply(note=setup_words.in_a_channel())
    if any(found.what is Denial.NOT_IN_CHANNEL for found in turn.told.hindrances(place, ())):
        raise not_in_channel(turn.kit.chat)  # a public channel tells its members to whoever asks
    await teams.may(request, place.id, Act.SET_UP)
    persons = await team(turn, place)
    options = [Option(p.id, p.name) for p in persons]
    levers = ", ".join(name for _, name in DEFAULT_LEVERS)
    form_ = replace(forms.new_round(levers, options), value=place.id)
    return Reply(form=await _prefilled(turn, place, form_))


async def _again(request: Request) -> Reply:
    """The form for that channel, filled from the round before."""
    return await form(request, Place(request.tenant, "channel", request.value))


async def _prefilled(turn: Turn, place: Place, form: Form) -> Form:
    """The form with the answers of the round before, and in a line what it left over."""
    left = await leftovers.of_team(turn.uow, place.tenant, place.id)
    if left is None:
        return form
    initial = _answers_before(await turn.round(left.round_id))
    fields = tuple(_with_initial(f, initial.get(f.name, "")) for f in form.fields)
    words = setup_words.left_over(left.round_name, left.counted()) if not left.empty else ()
    return replace(form, fields=fields, intro=form.intro + words)


def _answers_before(round_: Round) -> dict[str, str]:
    roles, settings = round_.roles, round_.settings
    return {
        "question": settings.question,
        "levers": ", ".join(name for _, name in settings.levers),
        "meanings": "\n".join(f"{settings.lever_name(lever)}: {what}" for lever, what in settings.meanings.items()),
        "decision_maker": roles.decision_maker,
        "decision_deputy": roles.decision_deputy or "",
        "facilitator_deputy": roles.facilitator_deputy or "",
        "weight": str(settings.weight),
        "dots": str(settings.dots),
        "plan_votes": str(settings.plan_votes),
        "pace": settings.pace,
        "windows": setup_words.windows(settings),
    }


def _with_initial(field: Field, value: str) -> Field:
    known = not field.options or any(o.value == value for o in field.options)
    return replace(field, initial=value) if value and known else field


async def team(turn: Turn, place: Place) -> list[Person]:
    """The channel's members who can take part: no bots, nobody from outside or gone; guests whom somebody let in."""
    let_in = (await turn.uow.team(place.tenant, place.id)).guests
    here = [p for p in turn.told.members(place) if not (p.is_bot or p.is_foreign or p.is_gone)]
    return [p for p in here if not p.is_guest or let_in.get(MemberId(p.id))]


async def _new_round(request: Request) -> Reply:
    """Makes the round in setup and shows it to its facilitator; the start is one more press."""
    fields, place = request.fields, Place(request.tenant, "channel", request.value or request.event.place.id)
    await teams.may(request, place.id, Act.SET_UP)
    settings, problems = _read(fields)
    problems |= _problems(fields, request.by)
    if problems:
        return Reply(errors=problems)
    roles = Roles(
        facilitator=request.by,
        decision_maker=MemberId(fields.get("decision_maker", "")),
        facilitator_deputy=MemberId(fields.get("facilitator_deputy", "")),
        decision_deputy=MemberId(fields.get("decision_deputy", "")),
    )
    persons = await team(request.turn, place)
    hindered = request.turn.told.hindrances(place, tuple(person.id for person in persons))
    opened = await open_round(request.turn, place, fields["name"].strip(), settings, roles, persons, hindered)
    await members.were_seen(request.turn.uow, place, request.turn.told.members(place))
    await guests.ask_about_all(request.turn, opened)
    return Reply()


async def _change_form(request: RoundRequest) -> Reply:
    """The form with everything as it is set now."""
    round_ = request.round
    people = [Option(member, round_.name_of(member)) for member in round_.active()]
    form_ = setup_words.change(forms.new_round("", people), round_)
    initial = {**_answers_before(round_), "name": round_.name, "text": round_.settings.question}
    return Reply(form=replace(form_, fields=tuple(_with_initial(f, initial.get(f.name, "")) for f in form_.fields)))


async def _change(request: RoundRequest) -> Reply:
    """The proposal is brought up to date in its place."""
    fields = {**request.fields, "question": request.text("text")}
    settings, problems = _read(fields)
    problems |= _problems(fields, request.by)
    if problems:
        return Reply(errors={"text" if name == "question" else name: words for name, words in problems.items()})
    round_ = request.round
    heads = await request.turn.uow.heads(round_.tenant, channel=round_.channel)
    named = _free_name(request.text("name").strip(), {head.name for head in heads if head.id != round_.id})
    chosen = [MemberId(request.text(f)) for f in ("decision_maker", "decision_deputy", "facilitator_deputy")]
    await request.act(SetUpAnew(request.by, named, settings, *chosen))
    return Reply()


async def _set_anew(turn: Turn, before: Round, after: Round, fact: SetAnew) -> None:
    await propose(turn, after)


def _free_name(name: str, taken: Collection[str]) -> str:
    """The name, with a number where a round of the channel has it already."""
    return name if name not in taken else next(f"{name} {n}" for n in range(2, 100) if f"{name} {n}" not in taken)


def _read(fields: Mapping[str, str]) -> tuple[Settings, dict[str, str]]:
    """What the form sets, and a sentence for each field that cannot be taken; an empty number is the usual one."""
    pace: Pace = "live" if fields.get("pace") == "live" else "days"
    levers = read_levers(fields.get("levers", ""))
    problems: dict[str, str] = {}
    if not 1 <= len(levers) <= 6:
        problems["levers"] = setup_words.lever_count()
    numbers = {name: _number(fields, name) for name in NUMBERS}
    problems |= {name: setup_words.whole_number(name) for name, number in numbers.items() if number is None}
    windows = window_lines.Windows()
    try:
        windows = window_lines.read(fields.get("windows", ""), pace)
    except Unreadable as error:
        problems["windows"] = str(error)
    meanings, problem = _meanings(fields.get("meanings", ""), levers)
    if problem:
        problems["meanings"] = problem
    settings = Settings(
        question=fields.get("question", "").strip(),
        levers=levers,
        meanings=meanings,
        pace=pace,
        lengths=windows.lengths,
        reading=windows.reading,
        dots=numbers["dots"] or 0,
        plan_votes=numbers["plan_votes"] or 0,
        weight=numbers["weight"] or 0,
    )
    return settings, problems


def _meanings(text: str, levers: Sequence[tuple[LeverId, str]]) -> tuple[Mapping[LeverId, str], str]:
    """What each lever means to the team, and what is wrong with the text."""
    try:
        return (lever_lines.read(accepted(text, MAX_MEANINGS), levers), "") if text.strip() else ({}, "")
    except Unreadable as error:
        return {}, str(error)
    except Refused as refused:
        return {}, answers.sentence(refusal(refused))


def _number(fields: Mapping[str, str], name: str) -> int | None:
    """A whole number in its range, the usual one for an empty field; None for anything else."""
    low, high = RANGES[name]
    text = fields.get(name, "").strip() or str(getattr(Settings(question=""), name))
    fits = text.isascii() and text.isdigit() and len(text) <= len(str(high)) and low <= int(text) <= high
    return int(text) if fits else None


def _problems(fields: Mapping[str, str], facilitator: str) -> dict[str, str]:
    found = {}
    for name, most in MAX_LENGTHS.items():
        try:
            accepted(fields.get(name, ""), most, field=name)
        except Refused as refused:
            found[name] = answers.sentence(refusal(refused))
    if fields.get("decision_deputy") == fields.get("decision_maker"):
        found["decision_deputy"] = setup_words.DEPUTY_OF_DECISION_MAKER
    if fields.get("facilitator_deputy") == facilitator:
        found["facilitator_deputy"] = setup_words.DEPUTY_OF_YOURS
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
    turn: Turn,
    place: Place,
    name: str,
    settings: Settings,
    roles: Roles,
    persons: list[Person],
    hindered: Sequence[Hindrance] = (),
) -> Round:
    """A round in setup; its facilitator gets the proposal. Raises Refused."""
    round_ = await made(turn, place, name, settings, roles, persons)
    await propose(turn, round_, hindered)
    resting.wait_for_start(turn, round_, turn.now)
    await _offer_leftovers(turn, round_)
    return round_


async def made(
    turn: Turn, place: Place, name: str, settings: Settings, roles: Roles, persons: Sequence[Person]
) -> Round:
    """A round in setup, with everybody's record known. Raises Refused."""
    if len(await turn.uow.heads(place.tenant)) >= MAX_OPEN_ROUNDS:
        raise Refused(Because.TOO_MANY_ROUNDS, most=MAX_OPEN_ROUNDS)
    unique = _free_name(name, {h.name for h in await turn.uow.heads(place.tenant, channel=place.id)})
    seats = {}
    for person in persons:
        record = await members.upsert_member(turn.uow, place.tenant, person)
        away = record.away_until is not None and record.away_until > turn.now
        seats[MemberId(person.id)] = Seat(MemberId(person.id), person.name, away=away)
    ids = turn.kit.ids
    round_ = Round(RoundId(ids.new("r")), place.tenant, place.id, unique[:60], settings, seats, roles, ids.seed())
    await turn.uow.add_round(round_, turn.now)
    return round_


async def propose(turn: Turn, round_: Round, hindered: Sequence[Hindrance] = ()) -> None:
    """The round as it would start, to its facilitator; brought up to date where it stands already."""
    calendars = await members.calendars(turn.uow, round_.tenant, round_.active())
    hours = [(round_.name_of(MemberId(m)), members.hours_words(c)) for m, c in calendars.items()]
    share = power_share(len(round_.active()), round_.settings.weight)
    invitation = turn.kit.chat.capabilities.invitation if hindered else ""
    card = setup_words.proposal(round_, hours, share, hindered, invitation)
    facilitator = round_.roles.acting(Role.FACILITATOR)
    if await turn.uow.knows_message(message_name(round_.id, "setup", facilitator)):
        turn.revise_own(round_, facilitator, "setup", card)
    else:
        turn.tell(round_, facilitator, "setup", card)


async def _offer_leftovers(turn: Turn, round_: Round) -> None:
    """When a round is set up, its facilitator sees what is left over, once."""
    left = await leftovers.of_team(turn.uow, round_.tenant, round_.channel)
    if left is None or left.empty:
        return
    message = register_words.leftovers(left, round_.channel, on_its_date=False)
    turn.tell(round_, round_.roles.acting(Role.FACILITATOR), lives.LEFT, message)


BUTTONS: Answers = {"round.again": _again, **of_round({"round.change": _change_form}, (Step.SETUP,))}
FORMS: Answers = {"round.new": _new_round, **of_round({"round.change": _change}, (Step.SETUP,))}
FOLLOW: Mapping[type[Fact], Follow[Round]] = {SetAnew: _set_anew}
