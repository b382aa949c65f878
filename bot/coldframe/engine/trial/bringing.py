"""What was there before coldframe: a running trial and past results, entered by the facilitator."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta

from coldframe.domain.names import ENDS, RUNNING, LeverId, MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.round.plans import checked_criterion
from coldframe.domain.state import Criterion, Round
from coldframe.domain.texts import accepted, optional
from coldframe.domain.trial import bringing
from coldframe.domain.trial.bringing import MOST_SOURCE, MOST_TITLE
from coldframe.domain.trial.state import Trial, first_whole_week
from coldframe.domain.who_may import Act
from coldframe.engine.core import members, review_dates, sent_form, trial_turn
from coldframe.engine.core.requests import Answers, Request, RoundRequest, of_round
from coldframe.engine.core.turn import Turn
from coldframe.engine.register import registering, teams
from coldframe.engine.trial import ownership, starting
from coldframe.engine.trial.places import refuse_without_place
from coldframe.ports.chat import Reply
from coldframe.ports.follow_through import RegisterEntry
from coldframe.speech import answers
from coldframe.speech.refusals import refusal
from coldframe.speech.round import criterion_forms
from coldframe.speech.trial import brought_words

MOST_MEASURE, MOST_OWNER = 200, 60  # characters


async def word(request: Request) -> Reply | None:
    """`bring`: for the facilitator, of the channel's team or of each that they facilitate."""
    found: list[Round] = []
    for team in await teams.asked_about(request, Act.BRING):
        round_ = await teams.newest_round(request.turn.uow, request.tenant, team)
        if round_ is not None and round_.is_facilitator(request.by):
            found.append(round_)
    return request.shown(brought_words.pages(found) if found else brought_words.nobodys())


async def _newest(request: RoundRequest) -> Round:
    """Raises Refused for an earlier round's button: another may facilitate by now."""
    await teams.may(request, request.round.channel, Act.BRING)
    return request.round


# --- a trial that runs ----------------------------------------------------------------------------------------------


async def running_form(request: RoundRequest) -> Reply:
    round_ = await _newest(request)
    await refuse_without_place(request.turn, round_.tenant, round_.channel)
    return Reply(form=brought_words.running(round_, request.by, criterion_forms.of_any_kind()))


async def running(request: RoundRequest) -> Reply | None:
    """It takes a place at once; whoever is named owns it with a yes of their own."""
    round_, turn = await _newest(request), request.turn
    await refuse_without_place(turn, round_.tenant, round_.channel)
    owner, weeks = MemberId(request.text("owner")), sent_form.whole(request, "weeks")
    if owner not in round_.active():
        raise Refused(Because.UNKNOWN_ITEM)
    if weeks is None or not 1 <= weeks <= bringing.MOST_WEEKS:
        raise sent_form.FieldError("weeks", brought_words.A_NUMBER_OF_WEEKS)
    calendar = members.calendar_of(await turn.uow.member(round_.tenant, owner))
    today, own = calendar.local_day(turn.now), owner == request.by
    starts, criterion = first_whole_week(today), _criterion(request)
    counted, holders = starts + timedelta(weeks=weeks, days=criterion.lag), review_dates.of_choice(round_, owner)
    review = await review_dates.moment(turn, round_.tenant, holders, counted, calendar.tz)
    trial = bringing.running(
        round_, turn.kit.ids.new("b"), title=request.text("title"), lever=request.text("lever"),
        source=request.text("written"), criterion=criterion, weeks=weeks, zone=calendar.zone,
        live=_since(request, today), starts=starts, review=review, owner=owner if own else None,
        asked=None if own else owner,
    )  # fmt: skip
    await _begin(turn, trial, request.by)
    return request.passing(brought_words.entered(trial))


def _since(request: RoundRequest, today: date) -> date:
    """Since when it runs; from today on, as far as nobody says so."""
    words = request.text("since").strip()
    try:
        since = date.fromisoformat(words) if words else today
    except ValueError:
        since = date.max
    if since > today:
        raise sent_form.FieldError("since", brought_words.SINCE_WHEN)
    return since


def _criterion(request: RoundRequest) -> Criterion:
    if not request.text("measure").strip():
        return Criterion()
    kind = sent_form.kind(request.text("kind"))
    return checked_criterion(sent_form.read_criterion(request, Criterion(kind=kind)))


async def _begin(turn: Turn, trial: Trial, by: MemberId) -> None:
    await turn.uow.add_trial(trial, turn.now)
    await trial_turn.show_card(turn, trial)
    await starting.begin(turn, trial)
    if trial.asked is not None:
        await ownership.ask(turn, trial, by, "")


# --- past results ---------------------------------------------------------------------------------------------------


async def result_form(request: RoundRequest) -> Reply:
    return Reply(form=brought_words.result(await _newest(request)))


async def result(request: RoundRequest) -> Reply | None:
    round_ = await _newest(request)
    try:
        entry = past(round_, request.turn.kit.ids.new("brought-"), dict(request.fields), request.turn.now)
    except ValueError:
        raise sent_form.FieldError("ended", brought_words.NOT_IN_THE_FUTURE) from None
    await request.turn.uow.enter(entry)
    return request.passing(brought_words.kept(entry.title))


def past(round_: Round, name: str, given: dict[str, str], now: datetime) -> RegisterEntry:
    """The register's entry of what was tried before. Raises Refused; ValueError for a day that is none, or ahead."""
    ended = datetime.combine(date.fromisoformat(given.get("ended", "").strip()), time(12), UTC)
    if ended > now:
        raise ValueError(ended)
    levers, lever = dict(round_.settings.levers), given.get("lever", "").strip()
    if lever and lever not in levers:
        raise Refused(Because.UNKNOWN_LEVER, field="lever", lever=lever, levers=tuple(levers.values()))
    return RegisterEntry(
        trial_id=name,
        tenant=round_.tenant,
        team=round_.channel,
        round_name=round_.name,
        lever=lever,
        lever_name=levers.get(LeverId(lever), ""),
        title=accepted(given.get("title", ""), MOST_TITLE, field="title"),
        hypothesis="",
        question="",
        measure=optional(given.get("measure", ""), MOST_MEASURE, field="measure"),
        owner=optional(given.get("owner", ""), MOST_OWNER, field="owner"),
        verdict=registering.BROUGHT,
        at=ended,
        sentence=accepted(given.get("verdict", ""), MOST_SOURCE, field="verdict"),
        learning=optional(given.get("learning", ""), 1000, field="learning"),
        brought=accepted(given.get("written", ""), MOST_SOURCE, field="written"),
    )


COLUMNS = ("title", "verdict", "ended", "written", "learning", "lever", "measure", "owner")
"""Of a file of past results; the first four are needed."""


def from_row(round_: Round, number: int, cells: Mapping[str, str], now: datetime) -> RegisterEntry | str:
    """One line of such a file: its entry, by a name that stays the same, or what is wrong with it."""
    unknown = [name for name in cells if name not in COLUMNS]
    if unknown:
        return brought_words.at_line(number, brought_words.columns(unknown[0], COLUMNS))
    lever = cells.get("lever", "").strip().casefold()
    keys = {name.casefold(): key for key, name in round_.settings.levers}
    mark = hashlib.sha256(
        "\n".join((round_.channel, cells.get("title", ""), cells.get("ended", ""))).encode()
    ).hexdigest()
    try:
        return past(round_, f"brought-{mark[:20]}", {**cells, "lever": keys.get(lever, lever)}, now)
    except Refused as refused:
        return brought_words.at_line(number, answers.sentence(refusal(refused)))
    except ValueError:
        return brought_words.at_line(number, brought_words.NOT_IN_THE_FUTURE)


_OPEN = (*RUNNING, *ENDS)
BUTTONS: Answers = of_round({"bring.trial": running_form, "bring.result": result_form}, _OPEN)
FORMS: Answers = of_round({"bring.trial": running, "bring.result": result}, _OPEN)
WORDS: Answers = {"bring": word}
