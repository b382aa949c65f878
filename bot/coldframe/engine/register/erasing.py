"""A whole team exported and erased. Who may do what stands in `domain.people.erasing`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from coldframe.domain.names import MemberId
from coldframe.domain.people import erasing as rules
from coldframe.domain.people.erasing import Erasing
from coldframe.domain.refusals import known
from coldframe.domain.state import Round
from coldframe.domain.who_may import Act
from coldframe.engine.core import endings, lives
from coldframe.engine.core.endings import Ending
from coldframe.engine.core.requests import Answers, Request
from coldframe.engine.core.turn import Carry, InOneTurn, Turn
from coldframe.engine.register import teams
from coldframe.message.nodes import Message, line
from coldframe.message.packed import MessageName, Occurrence
from coldframe.ports.chat import Ids, Place, Reply
from coldframe.ports.follow_through import Wanted
from coldframe.ports.storage import Due, Posted, Send, UnitOfWork
from coldframe.speech import answers, panel_words
from coldframe.speech.names import who
from coldframe.speech.register import erasing_words, team_file

LAPSES, ERASES, SWEPT = "team asked", "team erased", "team swept"
MAX_ENTRIES = 100_000  # of the register: all


# --- what people ask ------------------------------------------------------------------------------------------------


async def word(request: Request) -> Reply | None:
    """`team`: for the facilitator, of the channel's team or of each that they facilitate."""
    uow, asked = request.turn.uow, await teams.asked_about(request, Act.WHOLE_TEAM)
    if not asked:
        return request.shown(erasing_words.not_a_team())
    own = [team for team in asked if request.by == await teams.facilitator_of(uow, request.tenant, team)]
    for team in own:
        await _show(request, team)
    if not own:
        await teams.may(request, asked[0], Act.WHOLE_TEAM)
    return Reply(note=panel_words.sent_in_private()) if request.event.place.kind == "channel" else None


async def _show(request: Request, team: str) -> None:
    uow, tenant = request.turn.uow, request.tenant
    rounds = len(await uow.rounds_of_team(tenant, team))
    trials = len(await uow.trials_of(tenant, team, over=True))
    request.answer(erasing_words.page(team, rounds, trials, (await uow.team(tenant, team)).erasing))


async def _export(request: Request) -> None:
    uow, tenant, team = request.turn.uow, request.tenant, request.subject
    await teams.may(request, team, Act.WHOLE_TEAM)
    rules.may_see_it_all(await teams.newest_round(uow, tenant, team), request.by)
    request.answer(await exported(uow, tenant, team))


async def exported(uow: UnitOfWork, tenant: str, team: str) -> Message:
    """All that the team may know of itself, as files."""
    rounds = [known(await uow.round(round_id)) for round_id in await uow.rounds_of_team(tenant, team)]
    trials = await uow.trials_of(tenant, team, over=True)
    entries = await uow.search(tenant, [team], Wanted(limit=MAX_ENTRIES))
    return team_file.export(rounds, trials, entries, await uow.team(tenant, team))


async def _form(request: Request) -> Reply:
    await teams.may(request, request.subject, Act.WHOLE_TEAM)
    rules.may_see_it_all(await teams.newest_round(request.turn.uow, request.tenant, request.subject), request.by)
    return Reply(form=erasing_words.confirm(request.subject))


async def _ask(request: Request) -> None:
    turn, tenant, team = request.turn, request.tenant, request.subject
    await teams.may(request, team, Act.WHOLE_TEAM)
    round_, before = await _now(request)
    asked = rules.asked(before, round_, request.by, turn.now)
    await _keep(turn, tenant, team, asked)
    assert round_ is not None
    name = MessageName(lives.PEOPLE, lives.ERASE, ("", team, turn.kit.ids.new(""))).pack()
    words = erasing_words.asked(asked, team, (who(round_, request.by),))
    turn.sends.append(Send("post", name, Place(tenant, "channel", team), words))
    turn.later(LAPSES, Occurrence((tenant, team)).pack(), asked.until.isoformat(), asked.until)


async def _yes(request: Request) -> None:
    turn, tenant, team = request.turn, request.tenant, request.subject
    await teams.may(request, team, Act.ANSWER_ERASING)
    round_, before = await _now(request)
    agreed = rules.agreed(before, round_, request.by, turn.now)
    if agreed == before:
        return
    assert round_ is not None and agreed.second is not None and agreed.at is not None
    await _keep(turn, tenant, team, agreed)
    both = line("{a} and {b}", a=(who(round_, agreed.by),), b=(who(round_, agreed.second),))
    for posted in await _asked(turn, tenant, team):
        turn.revise(posted.name, posted.place, erasing_words.agreed(agreed, team, both))
    turn.later(ERASES, Occurrence((tenant, team)).pack(), agreed.at.isoformat(), agreed.at)


async def _no(request: Request) -> None:
    await teams.may(request, request.subject, Act.ANSWER_ERASING)
    round_, before = await _now(request)
    rules.objected(before, round_, request.by, request.turn.now)
    await call_off(request.turn, request.tenant, request.subject, erasing_words.kept())


async def _now(request: Request) -> tuple[Round | None, Erasing | None]:
    uow = request.turn.uow
    round_ = await teams.newest_round(uow, request.tenant, request.subject)
    return round_, (await uow.team(request.tenant, request.subject)).erasing


# --- what follows ---------------------------------------------------------------------------------------------------


async def _keep(turn: Turn, tenant: str, team: str, erasing: Erasing | None) -> None:
    await turn.uow.save_team(replace(await turn.uow.team(tenant, team), erasing=erasing))


async def call_off(turn: Turn, tenant: str, team: str, words: Message) -> None:
    """Nothing is erased, and the question says why."""
    await _keep(turn, tenant, team, None)
    for kind in (LAPSES, ERASES):
        await turn.drop_due(Occurrence((tenant, team)).pack(), kind=kind)
    await endings.end(turn, [Ending(p, lives.End.LINE, words) for p in await _asked(turn, tenant, team)])


async def _asked(turn: Turn, tenant: str, team: str) -> list[Posted]:
    """The question in the channel, while it is open."""
    found = await turn.uow.posted_like(MessageName(lives.PEOPLE, lives.ERASE, ("", team, "")).pack())
    return [posted for posted in found if posted.open and posted.place.tenant == tenant]


async def _lapse(turn: Turn, due: Due) -> None:
    tenant, team = Occurrence.unpack(due.subject).parts
    erasing = (await turn.uow.team(tenant, team)).erasing
    if erasing is not None and erasing.second is None and erasing.until == due.at:
        await call_off(turn, tenant, team, erasing_words.nobody_else())


async def _erase(turn: Turn, due: Due) -> None:
    """Both are still of the team; whoever left has taken their yes along."""
    tenant, team = Occurrence.unpack(due.subject).parts
    erasing = (await turn.uow.team(tenant, team)).erasing
    if erasing is None or erasing.at != due.at:
        return
    round_ = await teams.newest_round(turn.uow, tenant, team)
    if round_ is None or not {erasing.by, erasing.second} <= set(round_.active()):
        await call_off(turn, tenant, team, erasing_words.gone())
        return
    turn.sends += await everything(turn.uow, turn.kit.ids, tenant, team, erasing_words.erased())
    turn.dues.append(swept(tenant, team, turn.now))


async def everything(uow: UnitOfWork, ids: Ids, tenant: str, team: str, last: Message) -> list[Send]:
    """All that is kept of it goes, with records of people who are in no other team. What was said about it is to be
    taken back; the last word in the channel follows."""
    posts, people = await uow.posts_of_team(tenant, team), await uow.people_of_team(tenant, team)
    await uow.delete_team(tenant, team)
    said = [*posts, *await _of_people(uow, tenant, people)]
    channel = Place(tenant, "channel", team)
    return [*(_taken_back(ids, p) for p in said), Send("post", ids.new("said-"), channel, last, open=False)]


def swept(tenant: str, team: str, now: datetime) -> Due:
    """When what was on its way meanwhile is looked for."""
    return Due(SWEPT, Occurrence((tenant, team)).pack(), "", now + lives.SWEPT_AFTER)


async def _of_people(uow: UnitOfWork, tenant: str, people: Sequence[str]) -> list[Posted]:
    """What whoever is in no other team still has in private; their records go with it."""
    found: list[Posted] = []
    for person in people:
        if await uow.rounds_about(tenant, person) or await uow.trials_about(tenant, person):
            continue
        found += await uow.open_posts(tenant, None, [person])
        await uow.forget_member(tenant, person)
    return [posted for posted in found if posted.message_id]


def _taken_back(ids: Ids, posted: Posted) -> Send:
    """By a name that says nothing of what it was."""
    return Send("withdraw", ids.new("erased-"), posted.place, answers.is_over(), open=False, ends=posted.message_id)


async def _sweep(turn: Turn, due: Due) -> None:
    """What was on its way when the team was erased has left its traces since; not of a team that has begun anew."""
    tenant, team = Occurrence.unpack(due.subject).parts
    if not await turn.uow.rounds_of_team(tenant, team):
        await turn.uow.delete_team(tenant, team)


async def left(turn: Turn, tenant: str, person: MemberId) -> None:
    """Whoever is forgotten has asked for nothing, and agreed to nothing."""
    for settings in await turn.uow.teams_with(tenant, person):
        if settings.lead == person:
            await turn.uow.save_team(replace(settings, lead=None))
        if person in settings.guests:
            now = await turn.uow.team(tenant, settings.team)
            guests = {guest: let_in for guest, let_in in now.guests.items() if guest != person}
            await turn.uow.save_team(replace(now, guests=guests))
        if settings.erasing is not None and person in (settings.erasing.by, settings.erasing.second):
            await call_off(turn, tenant, settings.team, erasing_words.gone())


BUTTONS: Answers = {"team.export": _export, "team.erase": _form, "team.yes": _yes, "team.no": _no}
FORMS: Answers = {"team.erase": _ask}
WORDS: Answers = {"team": word}
DUE: Mapping[str, Carry] = {
    LAPSES: InOneTurn(_lapse),
    ERASES: InOneTurn(_erase),
    SWEPT: InOneTurn(_sweep),
}
