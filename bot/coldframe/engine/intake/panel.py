"""`/coldframe`: alone it shows what this person can do here and now; words after it do the same without clicking."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace

from coldframe.domain.commands import Extend, Forget, HideNote, Join, Leave, Pause, Resume
from coldframe.domain.names import RUNNING, MemberId, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import Round
from coldframe.engine.core import members
from coldframe.engine.core.turn import Turn
from coldframe.engine.people import personal
from coldframe.engine.reading import dates
from coldframe.engine.reminding import reminders
from coldframe.engine.round import closing, setup
from coldframe.engine.trial import ownership, trials
from coldframe.message.nodes import Message
from coldframe.ports.chat import Inbound, Place, Reply, Said
from coldframe.ports.storage import Send
from coldframe.speech import answers, panel_words


@dataclass(frozen=True, slots=True)
class Ask:
    """A command: who asked, where, and the words after the first."""

    turn: Turn
    event: Inbound
    rest: str

    @property
    def tenant(self) -> str:
        return self.event.place.tenant

    @property
    def by(self) -> MemberId:
        return MemberId(self.event.person)


Word = Callable[[Ask], Awaitable[Reply]]
OPENED_BY = {"hours.write": "hours.write", "me.away": "me.away", "register.search": "register.filter"}
"""Forms that words ask for, with the button's action that opens each as well."""
MOST_ROUNDS = 1000
SHORTEST_QUOTE = 4  # characters by which a note can be named


async def ask(turn: Turn, event: Inbound, text: str) -> Reply:
    """Carries out the words after the command, or shows the panel. An unknown word gets the nearest ones."""
    first, _, rest = text.strip().partition(" ")
    word = WORDS.get(first.lower()) if first else _panel
    if word is None:
        return _shown(Ask(turn, event, rest), panel_words.unknown(first, _nearest(first)))
    reply = await word(Ask(turn, event, rest.strip()))
    if reply.form is not None and isinstance(event.what, Said):
        # Platforms open a form upon a press or a command, never upon a message.
        offer = panel_words.form_offered(first.lower(), reply.form, OPENED_BY.get(reply.form.action))
        return _shown(Ask(turn, event, rest), offer)
    return reply


def _nearest(word: str) -> list[str]:
    from rapidfuzz import process

    return [match for match, score, _ in process.extract(word.lower(), list(WORDS), limit=2) if score >= 60]


def _shown(asked: Ask, message: Message) -> Reply:
    """In the direct messages an answer stays; in a channel it is a passing private note."""
    if asked.event.place.kind == "direct":
        asked.turn.answer(asked.tenant, asked.event.person, message)
        return Reply()
    return Reply(note=message)


async def _rounds(asked: Ask) -> list[Round]:
    """Rounds of this channel, or in the direct messages all rounds of this person."""
    place = asked.event.place
    if place.kind == "channel":
        heads = await asked.turn.uow.heads(asked.tenant, channel=place.id)
    else:
        heads = await asked.turn.uow.heads(asked.tenant, member=asked.by)
    return [await asked.turn.round(h.id) for h in heads]


async def _the_round(asked: Ask, word: str) -> Round:
    """The one round that the command means. Where there are several its name stands after the word. Raises Refused."""
    rounds = [r for r in await _rounds(asked) if asked.by in r.seats]
    under_way = [r for r in rounds if r.step in RUNNING] or rounds
    return _one_of(asked, word, _of_facilitator(asked, word, under_way))


def _of_facilitator(asked: Ask, word: str, rounds: list[Round]) -> list[Round]:
    """Only the facilitator closes and pauses, so somebody who facilitates one round means that one."""
    own = [r for r in rounds if r.is_facilitator(asked.by)]
    return own if len(own) == 1 and word != "extend" and not asked.rest else rounds


def _one_of(asked: Ask, word: str, rounds: list[Round]) -> Round:
    if not rounds:
        raise Refused(Because.NOT_A_MEMBER)
    wanted = asked.rest.casefold()
    exact = [r for r in rounds if r.name.casefold() == wanted]
    found = exact or [r for r in rounds if r.name.casefold().startswith(wanted)]
    if len(found) != 1:
        names = tuple(r.name for r in found or rounds)
        raise Refused(Because.WHICH_ROUND, word=word, names=names, first=names[0])
    return found[0]


async def _panel(asked: Ask) -> Reply:
    rounds = await _rounds(asked)
    owed = await reminders.owed(asked.turn, asked.tenant, asked.by)
    return _shown(asked, panel_words.panel(rounds, asked.by, owed, in_channel=asked.event.place.kind == "channel"))


async def _help(asked: Ask) -> Reply:
    return _shown(asked, panel_words.help_())


async def _new(asked: Ask) -> Reply:
    return await setup.form(asked.turn, asked.event.place)


async def _status(asked: Ask) -> Reply:
    return _shown(asked, panel_words.status([r for r in await _rounds(asked)]))


async def _mine(asked: Ask) -> Reply:
    heads = await asked.turn.uow.heads(asked.tenant, member=asked.by)
    rounds = [await asked.turn.round(h.id) for h in heads]
    owed = await reminders.owed(asked.turn, asked.tenant, asked.by)
    message = panel_words.mine(rounds, asked.by, owed)
    if asked.event.place.kind == "channel":
        asked.turn.answer(asked.tenant, asked.event.person, message)
        return Reply(note=panel_words.sent_in_private())
    return _shown(asked, message)


async def _close(asked: Ask) -> Reply:
    round_ = await _the_round(asked, "close")
    await closing.by_hand(asked.turn, round_, asked.by)
    return _shown(asked, panel_words.closes(round_))


async def _extend(asked: Ask) -> Reply:
    round_ = await asked.turn.act(await _the_round(asked, "extend"), Extend(asked.by))
    return _shown(asked, panel_words.longer(round_))


async def _pause(asked: Ask) -> Reply:
    round_ = await asked.turn.act(await _the_round(asked, "pause"), Pause(asked.by))
    return _shown(asked, panel_words.rests(round_))


async def _resume(asked: Ask) -> Reply:
    """A round of this channel first. One whose channel was lost moves here, if its facilitator asks."""
    place = asked.event.place
    heads = await asked.turn.uow.heads(asked.tenant, member=asked.by)
    resting = [r for r in [await asked.turn.round(h.id) for h in heads] if r.paused is not None]
    if not resting:
        raise Refused(Because.NOT_PAUSED)
    round_ = _one_of(asked, "resume", [r for r in resting if r.channel == place.id] or resting)
    if place.kind == "channel" and place.id != round_.channel and round_.is_facilitator(asked.by):
        round_ = await _moved_here(asked, round_)
    round_ = await asked.turn.act(round_, Resume(asked.by))
    return _shown(asked, panel_words.goes_on(round_))


async def _moved_here(asked: Ask, round_: Round) -> Round:
    """The round in this channel, if it rests for want of its own."""
    if round_.paused not in answers.LOST.values():
        return round_
    moved = replace(round_, channel=asked.event.place.id)
    await asked.turn.uow.save_round(round_, moved, (), asked.turn.now)
    return moved


async def _away(asked: Ask) -> Reply:
    if not asked.rest:
        return await personal.PRESSES["me.away"](asked.turn, asked.event, "")
    if asked.rest.lower() in ("off", "back", "no"):
        await personal.come_back(asked.turn, asked.tenant, asked.event.person)
        return Reply()
    calendar = members.calendar_of(await asked.turn.uow.member(asked.tenant, asked.event.person))
    words = asked.rest.removeprefix("until ").strip()
    try:
        back = dates.reading(words, asked.turn.now, calendar)
    except dates.UnclearDate as unclear:
        return _shown(asked, panel_words.plain_words(str(unclear)))
    await personal.go_away(asked.turn, asked.tenant, asked.event.person, back)
    return Reply()


async def _hours(asked: Ask) -> Reply:
    return await personal.PRESSES["hours.write"](asked.turn, asked.event, "")


async def _calendar(asked: Ask) -> Reply:
    """The address of the person's own calendar, to them alone."""
    return await personal.calendar_address(asked.turn, asked.event)


async def _hide(asked: Ask) -> Reply:
    """Anybody asks by quoting; the facilitator hides. Nobody looks for the writer."""
    wanted = asked.rest.strip("“”\"' ").casefold()
    found = [
        (round_, note)
        for round_ in await _rounds(asked)
        if asked.by in round_.seats and len(wanted) >= SHORTEST_QUOTE
        for note in (round_.notes[i] for i in round_.revealed)
        if note.text.casefold().startswith(wanted)
    ]
    if len(found) != 1:
        return _shown(asked, panel_words.no_single_note())
    round_, note = found[0]
    if round_.is_facilitator(asked.by):
        await asked.turn.act(round_, HideNote(asked.by, note.id, "hidden by the facilitator"))
        return _shown(asked, panel_words.hidden())
    asked.turn.answer(asked.tenant, round_.roles.acting(Role.FACILITATOR), panel_words.hide_asked(round_, note.text))
    return _shown(asked, panel_words.hiding_asked_for())


async def _add(asked: Ask) -> Reply:
    """The facilitator puts somebody of the channel on the roster, guests included; nobody of another organisation."""
    who, _, name = asked.rest.rpartition(" to ")
    if not who:
        who, name = asked.rest, ""
    round_ = await _the_round(replace(asked, rest=name), f"add {who} to")
    persons = asked.turn.told.members(Place(round_.tenant, "channel", round_.channel))
    wanted = who.strip("@<> ").casefold()
    found = [p for p in persons if wanted in (p.id.casefold(), p.name.casefold()) and not (p.is_bot or p.is_gone)]
    if not found:
        return _shown(asked, panel_words.nobody_of_that_name(round_))
    if found[0].is_foreign:
        return _shown(asked, panel_words.from_elsewhere(round_, found[0].name))
    await members.known(asked.turn.uow, round_.tenant, found[0])
    await asked.turn.act(round_, Join(asked.by, MemberId(found[0].id), found[0].name))
    return _shown(asked, panel_words.added(round_, found[0].name))


async def _export(asked: Ask) -> Reply:
    """What is held about the person who asks, to them alone."""
    record = await asked.turn.uow.member(asked.tenant, asked.event.person)
    held = await asked.turn.uow.rounds_with(asked.tenant, asked.by, MOST_ROUNDS)
    rounds = [await asked.turn.round(round_id) for round_id in held]
    message = panel_words.export(record, rounds, asked.by)
    asked.turn.answer(asked.tenant, asked.event.person, message)
    if asked.event.place.kind == "channel":
        return Reply(note=panel_words.sent_in_private())
    return Reply()


async def _forget(asked: Ask) -> Reply:
    """Deletes the person's record; with a round under way it says what that means first."""
    running = [h for h in await asked.turn.uow.heads(asked.tenant, member=asked.by) if h.step is not Step.SETUP]
    if asked.rest.lower() != "me":
        return _shown(asked, panel_words.forget_first([h.name for h in running]))
    await _forget_everywhere(asked)
    return _shown(asked, panel_words.forgotten())


async def _forget_everywhere(asked: Ask) -> None:
    """In every round, ended ones included; then out of those that are open."""
    turn, tenant = asked.turn, asked.tenant
    for round_id in await turn.uow.rounds_with(tenant, asked.by, MOST_ROUNDS):
        round_ = await turn.act(await turn.round(round_id), Forget(asked.by))
        if round_.step not in (Step.COMMITTED, Step.CANCELLED) and not round_.seats[asked.by].left:
            await turn.act(round_, Leave(asked.by, asked.by))
    await ownership.left(turn, tenant, asked.by)
    await ownership.forget(turn, tenant, asked.by)
    await turn.uow.forget_member(tenant, asked.by)


async def show_home(turn: Turn, event: Inbound) -> None:
    """The person's own page: what they owe, and their rounds."""
    asked = Ask(turn, event, "")
    heads = await turn.uow.heads(asked.tenant, member=asked.by)
    rounds = [await turn.round(h.id) for h in heads]
    owed = await reminders.owed(turn, asked.tenant, asked.by)
    page = panel_words.mine(rounds, asked.by, owed)
    place = Place(asked.tenant, "direct", event.person)
    turn.sends.append(Send("home", f"home/{asked.tenant}/{event.person}", place, page))


WORDS: dict[str, Word] = {
    "help": _help,
    "new": _new,
    "status": _status,
    "mine": _mine,
    "close": _close,
    "extend": _extend,
    "pause": _pause,
    "resume": _resume,
    "away": _away,
    "hours": _hours,
    "calendar": _calendar,
    "hide": _hide,
    "add": _add,
    "export": _export,
    "forget": _forget,
    **trials.WORDS,
}
