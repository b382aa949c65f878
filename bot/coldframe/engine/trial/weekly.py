"""Weekly numbers as they come in, by form, line or CSV file; each answered with the state under weekly boundaries."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.state import TWO_GROUPS, ComparisonKind
from coldframe.domain.trial.commands import CheckCounting, LogWeek, TakeReading
from coldframe.domain.trial.state import WENT_LIVE, Entry, Figures, Reading, Trial, TrialStep, WeekWord
from coldframe.domain.who_may import Act
from coldframe.engine.core import access, endings, lives, review_dates, trial_turn
from coldframe.engine.core.requests import TrialRequest, of_trial, opens
from coldframe.engine.core.turn import Carry, Kit, Turn, due_turn
from coldframe.engine.reading import Unreadable, number_lines, numbers, week_files
from coldframe.engine.register import registering
from coldframe.engine.worker import foretelling, judging
from coldframe.message.packed import ButtonValue, MadeFor, MessageName, Occurrence
from coldframe.ports.chat import Edited, Inbound, IncomingFile, Pressed, Reply, Said
from coldframe.ports.storage import Due, Posted
from coldframe.speech import answers, reading_words
from coldframe.speech.refusals import refusal
from coldframe.speech.trial import next_words, review_words, trial_forms, trial_words, verdict_words, week_words
from coldframe.speech.trial.verdict_words import Judged

READING, PLAIN, IN_FULL = "trial reading", "trial verdict over", "trial in full"
CHECKED = "+"
"""After the number of entries in a reading's occurrence: the counting was checked."""
JUST = timedelta(minutes=1)


# --- by form --------------------------------------------------------------------------------------------------------


async def open_form(request: TrialRequest) -> Reply:
    request.under_way()
    today = await trial_turn.today(request.turn, request.trial)
    week = request.parts[0] if request.parts else ""
    return Reply(form=trial_forms.log_week(request.trial, today, int(week) if week.isdigit() else None))


async def sent(request: TrialRequest) -> Reply | None:
    """The form came back. A wrong field is told at the field; nothing is kept until all are right."""
    trial = request.trial
    try:
        entry = _from_fields(request)
    except Unreadable as error:
        return Reply(errors={error.field or "week": str(error)})
    today = await trial_turn.today(request.turn, trial)
    try:
        after = await _log(request.turn, request.by, trial, entry, today, correct=bool(entry.reason.strip()))
    except Refused as refused:
        return Reply(errors={_field(trial, refused): answers.sentence(refusal(refused))})
    if after == trial:
        request.answer(week_words.stands_already())
    return None


async def _log(turn: Turn, by: MemberId, trial: Trial, entry: Entry, today: date, *, correct: bool = False) -> Trial:
    """A week that cannot count makes the trial longer, and its review moves. Raises Refused."""
    lengthened = replace(trial, weeks={**trial.weeks, entry.week: (entry,)}) if entry.week else trial
    return await turn.act_on_trial(
        trial, LogWeek(by, entry, today, correct, await review_dates.after(turn, lengthened))
    )


def _from_fields(request: TrialRequest) -> Entry:
    week = _read(request, "week", numbers.whole)
    words: dict[str, WeekWord] = {"partial": "partial", "broken": "broken"}
    state = words.get(request.text("state"), "whole")
    harm = _read(request, "harm", numbers.decimal) if request.text("harm").strip() else None
    groups: dict[str, Figures] = {}
    if state == "whole":
        names = ("control", "trial") if request.trial.criterion.kind in TWO_GROUPS else ("trial",)
        groups = {name: _group(request, name) for name in names}
    stop, reason = bool(request.text("stop")), request.text("reason")
    calm = state == "whole" and harm is None and not stop
    return Entry(
        int(week), groups.get("trial"), groups.get("control"), state, harm, reason=reason, stop=stop, calm=calm
    )


def _group(request: TrialRequest, group: str) -> Figures:
    def whole(part: str) -> int:
        return int(_read(request, f"{group}_{part}", numbers.whole))

    def decimal(part: str) -> float:
        return _read(request, f"{group}_{part}", numbers.decimal)

    match request.trial.criterion.kind:
        case "split" | "share":
            return Figures(whole("successes"), whole("people"))
        case "count":
            return Figures(whole("count"))
        case "rate":
            return Figures(whole("events"), whole("units"))
        case "mean":
            return Figures(decimal("mean"), whole("people"), decimal("sd"))
    if request.text("trial_people").strip():
        return Figures(whole("value"), whole("people"))
    return Figures(decimal("value"))


def _read(request: TrialRequest, name: str, read: Callable[[str], float]) -> float:
    text = request.text(name)
    if not text.strip():
        raise Unreadable(reading_words.NUMBER_NEEDED, name)
    try:
        return read(text)
    except Unreadable as error:
        raise Unreadable(str(error), name) from None


def _field(trial: Trial, refused: Refused) -> str:
    """The form's field that a refusal is about."""
    if refused.code is Because.WEEK_TAKEN or refused.facts.get("field") == "reason":
        return "reason"
    if refused.code is not Because.BAD_NUMBERS:
        return "week"
    group = refused.facts.get("field")
    return f"{group}_{_AT[trial.criterion.kind]}" if group in ("control", "trial") else "harm"


_AT: Mapping[ComparisonKind, str] = {
    "split": "successes", "share": "successes", "rate": "events", "mean": "sd", "count": "count",
    "before-after": "value",
}  # fmt: skip


# --- by a plain line ------------------------------------------------------------------------------------------------


async def heard(turn: Turn, event: Inbound, what: Said, posted: Posted | None) -> bool:
    """Takes a private text or file as weekly numbers. Whether it was meant so."""
    trial = await turn.uow.trial(MessageName.unpack(posted.name).owner) if posted is not None else None
    if trial is not None and MemberId(event.person) not in trial.people:
        return False
    if trial is None and not what.files and not number_lines.looks_like_numbers(what.text):
        return False
    mine = [trial] if trial is not None else await _running(turn, event)
    if not mine:
        return False
    for one in mine:
        access.to_trial(turn, event, one, Act.LOG)
    if what.files:
        await _files(turn, event, what.files, mine)
    elif len(mine) > 1:
        meant = [(one, await _week_of_line(turn, one, what.text)) for one in mine]
        words = week_words.which_trial(meant, what.text.strip())
        turn.answer(event.place.tenant, event.person, words, about=mine[0])
    else:
        await take_line(turn, MemberId(event.person), mine[0], what.text)
    return True


async def line_changed(turn: Turn, event: Inbound, what: Edited) -> bool:
    """A line of numbers was changed after it was sent: which week it was for, nobody can tell by then. Whether it was
    such a line."""
    if event.place.kind != "direct" or not number_lines.looks_like_numbers(what.text):
        return False
    mine = await _running(turn, event)
    if mine:
        turn.answer(event.place.tenant, event.person, week_words.line_changed(mine), about=mine[0])
    return bool(mine)


async def _running(turn: Turn, event: Inbound) -> list[Trial]:
    owned = await turn.uow.trials_owned(event.place.tenant, event.person)
    return [t for t in owned if t.step in WENT_LIVE]


async def pressed_line(request: TrialRequest) -> None:
    """Yes, that line, for that trial."""
    made_for = MadeFor.unpack(ButtonValue.unpack(request.value).made_for)
    week = int(made_for.which) if made_for is not None and made_for.which.isdigit() else None
    await take_line(request.turn, request.by, request.trial, request.part(0), week)


async def take_line(turn: Turn, by: MemberId, trial: Trial, text: str, week: int | None = None) -> None:
    """A line of numbers for one trial; a doubt is asked back with a button, and nothing is kept meanwhile. `week`:
    which was meant when it was written, if it does not say."""
    today = await trial_turn.today(turn, trial)
    try:
        entry = _entry(trial, number_lines.read_line(text, trial.criterion.kind), week or _week_meant(trial, today))
    except number_lines.Doubtful as doubt:
        meant = week or await _week_of_line(turn, trial, doubt.instead)
        turn.answer(trial.tenant, by, week_words.did_you_mean(trial, meant, str(doubt), doubt.instead), about=trial)
    except Unreadable as error:
        turn.answer(trial.tenant, by, week_words.unreadable(trial, str(error)), about=trial)
    else:
        await _take(turn, by, trial, entry, today)


async def _week_of_line(turn: Turn, trial: Trial, text: str) -> int:
    """The week that a line is for: the one that it names, else the one that waits."""
    waits = _week_meant(trial, await trial_turn.today(turn, trial))
    try:
        named = number_lines.read_line(text, trial.criterion.kind).week
    except Unreadable:
        return waits
    return waits if named is None else named


def _entry(trial: Trial, written: number_lines.Written, waits: int) -> Entry:
    named = waits if written.week is None else written.week
    entry = Entry(named, written.trial, written.control, written.state, written.harm)
    return replace(entry, reason=written.reason, stop=written.stop, calm=written.calm)


def _week_meant(trial: Trial, today: date) -> int:
    """Without a week: the earliest one that is over and not logged; else the last one that is over."""
    missing, over = trial.unlogged(today), trial.weeks_over(today)
    if missing:
        return missing[0]
    return over[-1] if over else 1


async def _take(turn: Turn, by: MemberId, trial: Trial, entry: Entry, today: date) -> None:
    try:
        after = await _log(turn, by, trial, entry, today)
    except Refused as refused:
        known = trial.entry(entry.week)
        if refused.code is not Because.WEEK_TAKEN or known is None:
            raise
        turn.answer(trial.tenant, by, week_words.week_taken(trial, known, entry), about=trial)
        return
    if after == trial:
        turn.answer(trial.tenant, by, week_words.stands_already(), about=trial)


# --- by a file ------------------------------------------------------------------------------------------------------


async def _files(turn: Turn, event: Inbound, files: Sequence[IncomingFile], mine: Sequence[Trial]) -> None:
    trial, by = mine[0], MemberId(event.person)
    for file in files:
        if file.content is None:
            why = reading_words.file_not_taken(file.name[:60], file.problem)
            turn.answer(trial.tenant, by, week_words.wrong_file(why), about=trial)
        elif len(mine) > 1:
            why = reading_words.which_trial(len(mine))
            turn.answer(trial.tenant, by, week_words.wrong_file(why), about=trial)
        else:
            trial = await _import(turn, by, trial, file.name, file.content)


async def _import(turn: Turn, by: MemberId, trial: Trial, name: str, content: bytes) -> Trial:
    """Row by row: what is right is taken, what is not is told, what was there before stays."""
    try:
        rows = week_files.read_file(content, trial.criterion.kind)
    except week_files.WrongFile as wrong:
        turn.answer(trial.tenant, by, week_words.wrong_file(str(wrong)), about=trial)
        return trial
    today = await trial_turn.today(turn, trial)
    taken: list[Entry] = []
    problems: list[tuple[int, str]] = []
    for row in rows:
        before = trial
        trial, problem = await take_row(turn, by, trial, row, today)
        if problem:
            problems.append((row.line, problem))
        elif row.entry is not None and trial != before:
            taken.append(row.entry)
    same = len(rows) - len(taken) - len(problems)
    turn.answer(trial.tenant, by, week_words.file_report(trial, taken, same, problems, name), about=trial)
    return trial


async def take_row(turn: Turn, by: MemberId, trial: Trial, row: week_files.Row, today: date) -> tuple[Trial, str]:
    """The trial after this row, and why it could not be taken."""
    if row.entry is None:
        return trial, row.problem
    try:
        return await _log(turn, by, trial, row.entry, today, correct=bool(row.entry.reason)), ""
    except Refused as refused:
        return trial, answers.sentence(refusal(refused))


# --- the answer -----------------------------------------------------------------------------------------------------


async def ask_for_reading(turn: Turn, trial: Trial, by: str) -> None:
    """One reading for all that comes in with this turn: an import is one look."""
    await turn.drop_due(trial.id, kind=READING)
    entries = len(trial.early) + sum(len(history) for history in trial.weeks.values())
    occurrence = Occurrence((by, f"{entries}{CHECKED if trial.counting_checked else ''}"))
    turn.later(READING, trial.id, occurrence.pack(), turn.now)


async def judged(kit: Kit, trial_id: str) -> tuple[Judged, date]:
    """What the numbers support today, reckoned outside any transaction."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        trial = await turn.trial(trial_id)
        today, calendar = await trial_turn.today(turn, trial), await trial_turn.calendar_of(turn, trial)
        record = await registering.record_of(uow, trial.tenant, trial.team)
    special = trial_turn.special_days(trial, calendar)
    found: Judged = await kit.numbers.compute(judging.judge, trial, today, special, record)
    if judging.may_be_in_vain(trial, found):
        found = replace(found, in_vain=await kit.numbers.compute(foretelling.in_vain, trial))
    return found, today


async def take_reading(turn: Turn, trial: Trial, found: Judged) -> Trial:
    return await turn.act_on_trial(trial, TakeReading(BOT, as_reading(trial, found)))


def as_reading(trial: Trial, found: Judged) -> Reading:
    verdict, alerts = found.verdict, verdict_words.alerts(trial, found)
    sentence = verdict_words.sentence(trial, found)
    if verdict is None:
        return Reading("cannot tell", "no-measure", sentence, None, len(trial.weeks))
    if found.in_vain is not None:
        alerts = (*alerts, next_words.in_vain(found.in_vain))
    chance = verdict.chance if found.stands is None else None
    low, high = (chance.value, chance.high) if chance is not None else (None, None)
    return Reading(
        found.outcome, verdict.reason.value, sentence, low, len(trial.weeks), found.waits_for_a_check, alerts, high
    )


async def read(kit: Kit, due: Due) -> None:
    """The state after an entry: shown to whoever logged, and on the card."""
    found, today = await judged(kit, due.subject)
    async with due_turn(kit, due) as turn:
        trial = await take_reading(turn, await turn.trial(due.subject), found)
        just = [e for e in (*trial.early[-1:], *trial.entries()) if e.at is not None and due.at - e.at < JUST]
        person = Occurrence.unpack(due.occurrence).parts[0]
        if not any(entry.sent for entry in just):  # what a program sent waits for their hours
            turn.answers(trial.tenant, person, due.at)
        trial_turn.tell(turn, trial, person, "reading", trial_words.reading(trial, found, just))
        await _verdict_again(turn, trial, found, today)


async def more(request: TrialRequest) -> None:
    """The numbers are reckoned again, outside the turn, and take the place of the few lines."""
    what, turn = request.event.what, request.turn
    message = what.message if isinstance(what, Pressed) else None
    posted = await turn.uow.posted_as(request.event.place, message) if message is not None else None
    name = turn.uow.hidden(posted.name) if posted is not None else ""
    turn.later(IN_FULL, request.trial.id, Occurrence((request.by, name)).pack(), turn.now)


async def in_full(kit: Kit, due: Due) -> None:
    person, name = Occurrence.unpack(due.occurrence).parts
    found, _ = await judged(kit, due.subject)
    async with due_turn(kit, due) as turn:
        trial = await turn.trial(due.subject)
        words, posted = trial_words.reading_in_full(trial, found), await turn.uow.posted(name) if name else None
        turn.answers(trial.tenant, person, due.at)
        if posted is not None:
            turn.revise(posted.name, posted.place, words, trial.round_id)
        else:
            trial_turn.tell(turn, trial, person, "reading", words)


async def _verdict_again(turn: Turn, trial: Trial, found: Judged, today: date) -> None:
    """Numbers that come in during the review change the verdict in the channel."""
    if trial.step is not TrialStep.IN_REVIEW:
        return
    known = trial_turn.name(trial, "verdict", str(trial.missed_reviews))
    if await turn.uow.knows_message(known):
        message = review_words.verdict(trial, found, today)
        turn.revise(known, trial_turn.channel(trial), message, trial.round_id)


async def say_plainly(kit: Kit, due: Due) -> None:
    """The verdict of a review that is over stays in the channel, without its buttons."""
    found, today = await judged(kit, due.subject)
    async with due_turn(kit, due) as turn:
        trial, posted = await turn.trial(due.subject), await turn.uow.posted(due.occurrence)
        if posted is not None and trial.step is not TrialStep.IN_REVIEW:
            words = review_words.verdict(trial, found, today)
            await endings.end(turn, [endings.Ending(posted, lives.End.READS, words)])


async def checked(request: TrialRequest) -> None:
    trial = await request.act(CheckCounting(request.by, request.text("text")))
    await ask_for_reading(request.turn, trial, request.by)


BUTTONS = of_trial(
    {
        "trial.log": open_form,
        "trial.take": pressed_line,
        "trial.check": opens(lambda r: trial_forms.check(r.trial)),
        "trial.more": more,
    }
)
FORMS = of_trial({"trial.log": sent, "trial.check": checked})
DUE: Mapping[str, Carry] = {READING: read, PLAIN: say_plainly, IN_FULL: in_full}
