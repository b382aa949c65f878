"""Weekly numbers as they come in: the form, a plain line in the direct messages, a CSV file; each answered with the
state under the boundaries for weekly looks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from coldframe.domain.commands import BOT
from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because, Refused
from coldframe.domain.trial.commands import CheckCounting, LogWeek, TakeReading
from coldframe.domain.trial.state import UNDER_WAY, Entry, Figures, Reading, Trial, TrialStep, WeekWord
from coldframe.engine.core import trial_turn
from coldframe.engine.core.requests import Answers, Request, trial_of
from coldframe.engine.core.turn import Kit, Turn, due_turn
from coldframe.engine.reading import number_lines, week_files
from coldframe.engine.worker import judging
from coldframe.ports.chat import Inbound, IncomingFile, Reply, Said
from coldframe.ports.storage import Due, Posted
from coldframe.speech import answers
from coldframe.speech.refusals import refusal
from coldframe.speech.trial import review_words, trial_forms, trial_words, verdict_words
from coldframe.speech.trial.verdict_words import Judged
from coldframe.timing.calendars import WorkingCalendar

READING = "trial reading"


# --- by form --------------------------------------------------------------------------------------------------------


async def open_form(request: Request) -> Reply:
    trial_id, _, week = request.value.partition("|")
    trial = await trial_of(request.turn, request.event, trial_id)
    if trial.step not in UNDER_WAY:
        raise Refused(Because.TRIAL_OVER)
    if request.by not in (trial.owner, trial.facilitator):
        raise Refused(Because.NOT_OWNER)
    today = await trial_turn.today(request.turn, trial)
    return Reply(form=trial_forms.log_week(trial, today, int(week) if week.isdigit() else None))


async def sent(request: Request) -> Reply:
    """The form came back. A wrong field is told at the field; nothing is kept until all are right."""
    trial = await trial_of(request.turn, request.event, request.value)
    try:
        entry = _from_fields(trial, request)
    except number_lines.Unreadable as error:
        return Reply(errors={error.field or "week": str(error)})
    today = await trial_turn.today(request.turn, trial)
    try:
        correct = bool(request.fields.get("reason", "").strip())
        after = await request.turn.act_on_trial(trial, LogWeek(request.by, entry, today, correct))
    except Refused as refused:
        return Reply(errors={_field(trial, refused): answers.sentence(refusal(refused))})
    if after == trial:
        request.answer(answers.said("That is how the week stands already."))
    if request.fields.get("stop"):
        request.answer(trial_words.stop_line_ticked(after))
    return Reply()


def _from_fields(trial: Trial, request: Request) -> Entry:
    fields = request.fields
    week = _read("week", fields.get("week", ""), number_lines.whole)
    words: dict[str, WeekWord] = {"partial": "partial", "broken": "broken"}
    state = words.get(fields.get("state", ""), "whole")
    harm = _read("harm", fields["harm"], number_lines.decimal) if fields.get("harm", "").strip() else None
    control = trial_ = None
    if state == "whole":
        groups = ("control", "trial") if trial.criterion.kind in ("split", "mean") else ("trial",)
        found = {group: _group(trial, group, request) for group in groups}
        control, trial_ = found.get("control"), found["trial"]
    return Entry(int(week), trial_, control, state, harm, reason=fields.get("reason", ""))


def _group(trial: Trial, group: str, request: Request) -> Figures:
    def read(part: str, how: object) -> float:
        assert callable(how)
        name = f"{group}_{part}"
        return _read(name, request.fields.get(name, ""), how)

    whole, decimal = number_lines.whole, number_lines.decimal
    match trial.criterion.kind:
        case "split":
            return Figures(read("successes", whole), int(read("people", whole)))
        case "count":
            return Figures(read("count", whole))
        case "mean":
            return Figures(read("mean", decimal), int(read("people", whole)), read("sd", decimal))
    if request.fields.get("trial_people", "").strip():
        return Figures(read("value", whole), int(read("people", whole)))
    return Figures(read("value", decimal))


def _read(name: str, text: str, how: object) -> float:
    assert callable(how)
    if not text.strip():
        raise number_lines.Unreadable("A number is needed here; a week without numbers is a gap, not a zero.", name)
    try:
        value: float = how(text)
    except number_lines.Unreadable as error:
        raise number_lines.Unreadable(str(error), name) from None
    return value


def _field(trial: Trial, refused: Refused) -> str:
    """The form's field that a refusal is about."""
    if refused.code is Because.WEEK_TAKEN or refused.facts.get("field") == "reason":
        return "reason"
    if refused.code is not Because.BAD_NUMBERS:
        return "week"
    group = refused.facts.get("field")
    parts = {"split": "successes", "mean": "sd", "count": "count", "before-after": "value"}
    return f"{group}_{parts[trial.criterion.kind]}" if group in ("control", "trial") else "harm"


# --- by a plain line, by a file -------------------------------------------------------------------------------------


async def heard(turn: Turn, event: Inbound, what: Said, posted: Posted | None) -> Reply | None:
    """Takes a private text or file as weekly numbers, when it is meant so; None when it is something else."""
    trial = await turn.uow.trial(posted.name.partition("/")[0]) if posted is not None else None
    if trial is not None and MemberId(event.person) not in trial.people:
        return None
    if what.files:
        return await _files(turn, event, what.files, trial)
    if trial is None and not number_lines.looks_like_numbers(what.text):
        return None
    mine = [trial] if trial is not None else await _running(turn, event)
    if not mine:
        return None
    if len(mine) > 1:
        turn.answer(event.place.tenant, event.person, trial_words.which_trial(mine, what.text.strip()))
        return Reply()
    await take_line(turn, event, mine[0], what.text)
    return Reply()


async def _running(turn: Turn, event: Inbound) -> list[Trial]:
    owned = await turn.uow.trials_owned(event.place.tenant, event.person)
    return [t for t in owned if t.step in UNDER_WAY]


async def pressed_line(request: Request) -> Reply:
    """Yes, that line, for that trial."""
    trial_id, _, text = request.value.partition("|")
    trial = await trial_of(request.turn, request.event, trial_id)
    await take_line(request.turn, request.event, trial, text)
    return Reply()


async def take_line(turn: Turn, event: Inbound, trial: Trial, text: str) -> None:
    """A line of numbers for one trial; a doubt is asked back with a button, and nothing is kept meanwhile."""
    today = await trial_turn.today(turn, trial)
    try:
        written = number_lines.read_line(text, trial.criterion.kind)
    except number_lines.Doubtful as doubt:
        turn.answer(trial.tenant, event.person, trial_words.did_you_mean(trial, str(doubt), doubt.instead))
        return
    except number_lines.Unreadable as error:
        turn.answer(trial.tenant, event.person, trial_words.unreadable(trial, str(error)))
        return
    week = written.week or _week_meant(trial, today)
    entry = Entry(week, written.trial, written.control, written.state, reason=written.reason)
    try:
        after = await turn.act_on_trial(trial, LogWeek(MemberId(event.person), entry, today))
    except Refused as refused:
        if refused.code is not Because.WEEK_TAKEN:
            raise
        known = trial.entry(week)
        assert known is not None
        turn.answer(trial.tenant, event.person, trial_words.week_taken(trial, known, entry))
        return
    if after == trial:
        turn.answer(trial.tenant, event.person, answers.said("That is how the week stands already."))


def _week_meant(trial: Trial, today: date) -> int:
    """Without a week: the earliest one that is over and not logged; else the last one that is over."""
    missing, over = trial.unlogged(today), trial.weeks_over(today)
    if missing:
        return missing[0]
    return over[-1] if over else 1


async def _files(turn: Turn, event: Inbound, files: Sequence[IncomingFile], trial: Trial | None) -> Reply | None:
    mine = [trial] if trial is not None else await _running(turn, event)
    if not mine:
        return None
    for file in files:
        if file.content is None:
            why = f"{file.name[:60]} could not be taken: {file.problem or 'it could not be read'}. Nothing was taken."
            turn.answer(event.place.tenant, event.person, trial_words.wrong_file(why))
        elif len(mine) > 1:
            why = (
                f"You own {len(mine)} trials. Drop the file in the thread of the one that it is for. Nothing was taken."
            )
            turn.answer(event.place.tenant, event.person, trial_words.wrong_file(why))
        else:
            mine = [await _import(turn, event, mine[0], file)]
    return Reply()


async def _import(turn: Turn, event: Inbound, trial: Trial, file: IncomingFile) -> Trial:
    """Row by row: what is right is taken, what is not is told, what was there before stays."""
    assert file.content is not None
    try:
        rows = week_files.read_file(file.content, trial.criterion.kind)
    except week_files.WrongFile as wrong:
        turn.answer(trial.tenant, event.person, trial_words.wrong_file(str(wrong)))
        return trial
    today = await trial_turn.today(turn, trial)
    taken: list[Entry] = []
    problems: list[tuple[int, str]] = []
    same = 0
    for row in rows:
        if row.entry is None:
            problems.append((row.line, row.problem))
            continue
        try:
            after = await turn.act_on_trial(trial, LogWeek(MemberId(event.person), row.entry, today))
        except Refused as refused:
            problems.append((row.line, answers.sentence(refusal(refused))))
            continue
        same += after == trial
        taken += [row.entry] if after != trial else []
        trial = after
    report = trial_words.file_report(trial, taken, same, problems, file.name)
    turn.answer(trial.tenant, event.person, report)
    return trial


# --- the answer -----------------------------------------------------------------------------------------------------


async def ask_for_reading(turn: Turn, trial: Trial, by: str) -> None:
    """One reading for all that comes in with this turn: an import is one look."""
    await turn.drop_due(trial.id, kind=READING)
    entries = sum(len(history) for history in trial.weeks.values())
    turn.later(READING, trial.id, f"{by}/{entries}{'+' if trial.counting_checked else ''}", turn.now)


async def judged(kit: Kit, trial: Trial, today: date, calendar: WorkingCalendar) -> Judged:
    return await kit.numbers.compute(judging.judge, trial, today, special_days(trial, calendar))


def special_days(trial: Trial, calendar: WorkingCalendar) -> tuple[tuple[str, date], ...]:
    """Public holidays of the owner's country within the trial's weeks."""
    if trial.starts is None:
        return ()
    days = (trial.starts + timedelta(days=n) for n in range(7 * trial.planned))
    return tuple((name, day) for day in days if (name := calendar.holiday_name(day)))


def as_reading(trial: Trial, found: Judged) -> Reading:
    verdict = found.verdict
    sentence = verdict_words.sentence(trial, found)
    if verdict is None:
        return Reading("cannot tell", "no-measure", sentence, None, len(trial.weeks))
    chance = verdict.chance.value if verdict.chance is not None else None
    check = verdict.reason.value == "check-counting"
    return Reading(verdict.outcome.value, verdict.reason.value, sentence, chance, len(trial.weeks), check)


async def read(kit: Kit, due: Due) -> None:
    """The state after an entry: reckoned outside any transaction, then shown to whoever logged, and on the card."""
    async with kit.store.begin() as uow:
        turn = Turn(kit, uow, kit.clock.now())
        trial = await turn.trial(due.subject)
        today, calendar = await trial_turn.today(turn, trial), await trial_turn.calendar_of(turn, trial)
    found = await judged(kit, trial, today, calendar)
    async with due_turn(kit, due) as turn:
        trial = await turn.trial(due.subject)
        trial = await turn.act_on_trial(trial, TakeReading(BOT, as_reading(trial, found)))
        just = [e for e in trial.entries() if e.at is not None and due.at - e.at < timedelta(minutes=1)]
        person = due.occurrence.rpartition("/")[0]
        trial_turn.tell(turn, trial, person, "reading", trial_words.reading(trial, found, just))
        await _verdict_again(turn, trial, found, today)


async def _verdict_again(turn: Turn, trial: Trial, found: Judged, today: date) -> None:
    """Numbers that come in during the review change the verdict in the channel."""
    if trial.step is not TrialStep.IN_REVIEW:
        return
    known = trial_turn.name(trial, "verdict", str(trial.missed_reviews))
    if await turn.uow.knows_message(known):
        message = review_words.verdict(trial, found, today)
        turn.revise(known, trial_turn.channel(trial), message, trial.round_id)


async def check_form(request: Request) -> Reply:
    return Reply(form=trial_forms.check(await trial_of(request.turn, request.event, request.value)))


async def checked(request: Request) -> Reply:
    trial = await trial_of(request.turn, request.event, request.value)
    trial = await request.turn.act_on_trial(trial, CheckCounting(request.by, request.fields.get("text", "")))
    await ask_for_reading(request.turn, trial, request.by)
    return Reply()


BUTTONS: Answers = {"trial.log": open_form, "trial.take": pressed_line, "trial.check": check_form}
FORMS: Answers = {"trial.log": sent, "trial.check": checked}
