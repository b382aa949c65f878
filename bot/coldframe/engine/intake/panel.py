"""`/coldframe`: alone it shows what this person can do here and now; words after it do the same without clicking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coldframe.domain.names import RUNNING, Role, Step
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round import undoing
from coldframe.domain.round.course import may_cancel
from coldframe.domain.round.moves import Extend, Pause, Resume
from coldframe.domain.round.revealed_notes import HideNote
from coldframe.domain.round.undoing import Undo
from coldframe.domain.state import Round
from coldframe.domain.who_may import BY_WAY, Act
from coldframe.engine.core import access, endings, members
from coldframe.engine.core.requests import Answers, Request, Uses
from coldframe.engine.people import forgetting, front_page, held, personal
from coldframe.engine.reading import asked_words, dates
from coldframe.engine.register import teams
from coldframe.engine.reminding import owed as reminders
from coldframe.engine.round import closing, correcting, course, guests, locking, setup, what_now
from coldframe.message.nodes import Line, When
from coldframe.ports.chat import Place, Reply, Said
from coldframe.speech import panel_words, person_guides
from coldframe.speech.people import forget_words
from coldframe.speech.round import forms, role_words, undoing_words

OPENED_BY = {
    "hours.write": "hours.write",
    "me.away": "me.away",
    "register.search": "register.filter",
    "round.cancel": "round.cancel",
}
"""Forms that words ask for, with the button's action that opens each as well."""
MAX_ROUNDS = 1000
NEAR = 60  # of 100, by which a word may be a slip of another
MIN_QUOTE = 4  # characters by which a note can be named


async def ask(request: Request, text: str) -> Reply | None:
    """Carries out the words after the command, or shows the panel. An unknown word gets the nearest ones."""
    first, _, rest = text.strip().partition(" ")
    request = replace(request, words=rest.strip())
    asks = not first or (asked_words.asks_how_it_stands(text) and first.lower() not in request.uses.words)
    word = _panel if asks else request.uses.words.get(first.lower())
    await teams.at_word(request, BY_WAY.get(f"/{first.lower()}", Act.PANEL))
    if word is None:
        return request.shown(panel_words.unknown(first, _nearest(request.uses, first)))
    reply = await word(request)
    if reply is not None and reply.form is not None and isinstance(request.event.what, Said):
        # Platforms open a form upon a press or a command, never upon a message.
        offer = panel_words.form_offered(first.lower(), reply.form, OPENED_BY.get(reply.form.action))
        return request.shown(offer)
    return reply


def _nearest(uses: Uses, word: str) -> list[str]:
    from rapidfuzz import fuzz, process

    found = process.extract(word.lower(), list(uses.words), scorer=fuzz.ratio, score_cutoff=NEAR, limit=2)
    return [match for match, _, _ in found]


async def _rounds(request: Request) -> list[Round]:
    """Rounds of this channel, or in the direct messages all rounds of this person."""
    turn, place = request.turn, request.event.place
    if place.kind != "channel":
        return await access.rounds_of(turn, request.event)
    return [await turn.round(h.id) for h in await turn.uow.heads(request.tenant, channel=place.id)]


async def _owed(request: Request, rounds: Sequence[Round]) -> list[tuple[Line, When]]:
    """What this person owes, in these rounds and in the teams to which they belong."""
    here = {round_.channel for round_ in rounds} | {*await teams.of_person(request)}
    return await reminders.owed(request.turn, request.tenant, request.by, here)


async def _the_round(request: Request, word: str) -> Round:
    """The one round that the command means. Where there are several its name stands after the word. Raises Refused."""
    rounds = await _own_rounds(request, word)
    under_way = [r for r in rounds if r.step in RUNNING] or rounds
    return _one_of(request, word, _of_facilitator(request, word, under_way))


async def _own_rounds(request: Request, word: str) -> list[Round]:
    """The rounds here in which this person takes part. Raises Refused where there is none."""
    rounds = await _rounds(request)
    own = [round_ for round_ in rounds if request.by in round_.active()]
    if not own:
        await _say_why_none(request, word)
        raise Refused(Because.NOT_A_MEMBER if rounds else Because.NO_ROUND_OPEN)
    return own


async def _say_why_none(request: Request, word: str) -> None:
    """Raises Refused for whoever has a seat in a round whose channel they are not in any more."""
    act = BY_WAY.get(f"/{word.split()[0]}", Act.PANEL)
    for head in await request.turn.uow.heads(request.tenant, member=request.by):
        access.to_round(request.turn, request.event, await request.turn.round(head.id), act)


def _of_facilitator(request: Request, word: str, rounds: list[Round]) -> list[Round]:
    """Only the facilitator closes and pauses, so somebody who facilitates one round means that one."""
    own = [r for r in rounds if r.is_facilitator(request.by)]
    return own if len(own) == 1 and word not in ("extend", "done") and not request.words else rounds


def _one_of(request: Request, word: str, rounds: list[Round]) -> Round:
    wanted = request.words.casefold()
    exact = [r for r in rounds if r.name.casefold() == wanted]
    found = exact or [r for r in rounds if r.name.casefold().startswith(wanted)]
    if len(found) != 1:
        names = tuple(r.name for r in found or rounds)
        raise Refused(Because.WHICH_ROUND, word=word, names=names, first=names[0])
    return found[0]


async def what_is_open(request: Request) -> Reply | None:
    """The answer to "what now?", by its button and in free words."""
    return await ask(request, "")


async def _panel(request: Request) -> Reply | None:
    """What is open here for this person, and for a facilitator how the round stands."""
    rounds = await _rounds(request)
    owed = await _owed(request, await access.rounds_of(request.turn, request.event))
    in_channel = request.event.place.kind == "channel"
    seen = await what_now.seen(request.turn, rounds, request.by)
    shown = panel_words.panel(rounds, request.by, owed, seen, in_channel=in_channel)
    trials = [] if in_channel else await front_page.trials_of(request, await teams.of_person(request))
    return await request.page(panel_words.with_trials(shown, trials, request.by))


async def _help(request: Request) -> Reply | None:
    return request.shown(panel_words.help_())


async def _guide(request: Request) -> Reply | None:
    """The pages there are, or the one of whom the words name."""
    person = request.words.lower().removeprefix("for ").removeprefix("the ")
    if person in person_guides.PERSONS:
        return await request.page(person_guides.page(person))
    return await request.page(person_guides.which())


async def _guide_of(request: Request) -> Reply | None:
    if request.subject not in person_guides.PERSONS:
        raise Refused(Because.UNKNOWN_ITEM)
    return await request.page(person_guides.page(request.subject))


async def _new(request: Request) -> Reply | None:
    return await setup.form(request, request.event.place)


async def _status(request: Request) -> Reply | None:
    return request.shown(panel_words.status([r for r in await _rounds(request)]))


async def _mine(request: Request) -> Reply | None:
    await endings.show_page(request.turn, request.tenant, request.by, await front_page.made(request))
    return Reply(note=panel_words.sent_in_private()) if request.event.place.kind == "channel" else None


async def _close(request: Request) -> Reply | None:
    round_ = await _the_round(request, "close")
    after = await closing.by_hand(request.turn, round_, request.by)
    return course.closed_by_hand(request, round_, after)


async def _undo(request: Request) -> Reply | None:
    """What this person decided last and nobody has heard of yet."""
    after = await request.turn.act(await _decided(request, "undo"), Undo(request.by))
    return request.shown(undoing_words.undone(after))


async def _announce(request: Request) -> Reply | None:
    round_ = await _decided(request, "announce")
    await closing.announce(request.turn, round_, request.by)
    return request.shown(panel_words.announced(round_))


async def _decided(request: Request, word: str) -> Round:
    """The round in which this person has decided something. Raises Refused."""
    rounds = [r for r in await _rounds(request) if undoing.may_settle(r, request.by)]
    if not rounds:
        raise Refused(Because.NOTHING_TO_UNDO)
    return _one_of(request, word, rounds)


async def _done(request: Request) -> Reply | None:
    """Through with the step, as by its button; a ballot is locked by it."""
    round_ = await _the_round(request, "done")
    await locking.finished(request.turn, round_, request.by)
    return request.shown(panel_words.through(round_))


async def _extend(request: Request) -> Reply | None:
    round_ = await request.turn.act(await _the_round(request, "extend"), Extend(request.by))
    return request.shown(panel_words.longer(round_))


async def _pause(request: Request) -> Reply | None:
    round_ = await request.turn.act(await _the_round(request, "pause"), Pause(request.by))
    return request.shown(panel_words.rests(round_))


async def _cancel(request: Request) -> Reply | None:
    round_ = await _the_round(request, "cancel")
    may_cancel(round_, request.by)
    return Reply(form=forms.cancel(round_))


async def _resume(request: Request) -> Reply | None:
    """A round of this channel first. One whose channel was lost moves here, if its facilitator asks."""
    place = request.event.place
    resting = [r for r in await access.rounds_of(request.turn, request.event) if r.paused is not None]
    if not resting:
        raise Refused(Because.NOT_PAUSED)
    round_ = _one_of(request, "resume", [r for r in resting if r.channel == place.id] or resting)
    if place.kind == "channel" and place.id != round_.channel and round_.is_facilitator(request.by):
        round_ = await _moved_here(request, round_)
    round_ = await request.turn.act(round_, Resume(request.by))
    return request.shown(panel_words.goes_on(round_))


async def _moved_here(request: Request, round_: Round) -> Round:
    """The round in this channel, if it rests for want of its own."""
    if round_.paused is None or not round_.paused.channel_lost:
        return round_
    moved = replace(round_, channel=request.event.place.id)
    await request.turn.uow.save_round(round_, moved, (), request.turn.now)
    return moved


async def _away(request: Request) -> Reply | None:
    if not request.words:
        return await personal.away_form(request)
    if request.words.lower() in ("off", "back", "no"):
        await personal.come_back(request.turn, request.tenant, request.by)
        return None
    calendar = members.calendar_of(await personal.record(request))
    words = request.words.removeprefix("until ").strip()
    try:
        back = dates.reading(words, request.turn.now, calendar)
    except dates.UnclearDate as unclear:
        return request.shown(panel_words.plain_words(str(unclear)))
    await personal.go_away(request.turn, request.tenant, request.by, back)
    return None


async def _hours(request: Request) -> Reply | None:
    return await personal.hours_form(request)


async def _calendar(request: Request) -> Reply | None:
    """The address of the person's own calendar, to them alone."""
    return await personal.calendar_address(request)


async def _hide(request: Request) -> Reply | None:
    """Anybody asks by quoting; the facilitator hides. Nobody looks for the writer."""
    wanted = request.words.strip("“”\"' ").casefold()
    found = [
        (round_, note)
        for round_ in await _rounds(request)
        if request.by in round_.active() and len(wanted) >= MIN_QUOTE
        for note in (round_.notes[i] for i in round_.revealed)
        if note.text.casefold().startswith(wanted)
    ]
    if len(found) != 1:
        return request.shown(panel_words.no_single_note())
    round_, note = found[0]
    if round_.is_facilitator(request.by):
        await request.turn.act(round_, HideNote(request.by, note.id, panel_words.HIDDEN_BY))
        return request.shown(panel_words.hidden())
    request.turn.answer(
        request.tenant, round_.roles.acting(Role.FACILITATOR), panel_words.hide_asked(round_, note.text)
    )
    return request.shown(panel_words.hiding_asked_for())


async def _add(request: Request) -> Reply | None:
    """The facilitator puts somebody of the channel on the roster, guests included; nobody of another organisation."""
    who, _, name = request.words.rpartition(" to ")
    if not who:
        who, name = request.words, ""
    round_ = await _the_round(replace(request, words=name), f"add {who} to")
    access.to_round(request.turn, request.event, round_, Act.ADMIT)
    persons = request.turn.told.members(Place(round_.tenant, "channel", round_.channel))
    wanted = who.strip("@<> ").casefold()
    found = [p for p in persons if wanted in (p.id.casefold(), p.name.casefold()) and not (p.is_bot or p.is_gone)]
    if not found:
        return request.shown(panel_words.nobody_of_that_name(round_))
    if found[0].is_foreign:
        return request.shown(panel_words.from_elsewhere(round_, found[0].name))
    await guests.let_in(request.turn, round_, request.by, found[0])
    return request.shown(panel_words.added(round_, found[0].name))


async def _roles(request: Request) -> Reply | None:
    """Who has which role in each round of this person, with what they can do about it."""
    return request.shown(role_words.overviews(await _own_rounds(request, "roles"), request.by))


async def _edit(request: Request) -> Reply | None:
    """What the facilitator can put right, in a setup as well."""
    rounds = await _rounds(request)
    own = [r for r in rounds if r.is_facilitator(request.by)]
    round_ = _one_of(request, "edit", own or await _own_rounds(request, "edit"))
    return await request.page(await correcting.show(request, round_))


async def _export(request: Request) -> Reply | None:
    """What is held about the person who asks, to them alone."""
    message = await held.export(request.turn, request.tenant, request.by)
    await endings.show_page(request.turn, request.tenant, request.by, message)
    return Reply(note=panel_words.sent_in_private()) if request.event.place.kind == "channel" else None


async def _forget(request: Request) -> Reply | None:
    """Says what it means first; only the whole words do it, or the button below that."""
    if request.words.lower() == "me":
        return await _forget_me(request)
    turn, tenant = request.turn, request.tenant
    known = await held.everything(turn, tenant, request.by)
    running = [h.name for h in await turn.uow.heads(tenant, member=request.by) if h.step is not Step.SETUP]
    return await request.page(forget_words.first(known, running))


async def _forget_me(request: Request) -> Reply | None:
    known = await held.everything(request.turn, request.tenant, request.by)
    await forgetting.forget(request.turn, request.tenant, request.by)
    return request.shown(forget_words.done(known))


BUTTONS: Answers = {
    "now.show": what_is_open, "me.export": _export, "me.forget": _forget, "me.forgotten": _forget_me,
    "guide.which": _guide, "guide.person": _guide_of,
}  # fmt: skip


WORDS: Answers = {
    "help": _help,
    "guide": _guide,
    "new": _new,
    "status": _status,
    "mine": _mine,
    "done": _done,
    "close": _close,
    "undo": _undo,
    "announce": _announce,
    "extend": _extend,
    "pause": _pause,
    "resume": _resume,
    "cancel": _cancel,
    "away": _away,
    "hours": _hours,
    "calendar": _calendar,
    "hide": _hide,
    "add": _add,
    "roles": _roles,
    "edit": _edit,
    "export": _export,
    "forget": _forget,
}
