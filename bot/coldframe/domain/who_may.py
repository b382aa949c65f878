"""Who may do and read what: the one table that every word, button, form, typed line, page, feed and ruling asks.

A row is something that people do or read. Whether somebody may follows from what they are where it happens: a member of
that channel with a seat in the round or trial, perhaps with a part of its own in it; a member without a seat; a guest,
whom the facilitator lets take part or not; or somebody to whom the channel's matters are closed: who left, who belongs
to another organisation, another bot. Printed for DEVELOPERS.md by `table`; `tests/access` tries every cell.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from coldframe.domain.names import MemberId
from coldframe.domain.refusals import Because


class Who(StrEnum):
    """What somebody is, where something happens. The first six are parts that only those have who take part."""

    FACILITATOR = "facilitator"
    DECISION_MAKER = "decision-maker"
    DEPUTY = "deputy"
    OWNER = "owner"
    LEAD = "lead"
    ITS_OWN = "its own"
    """Who wrote it, was asked it, or has to do it."""
    SEATED = "takes part"
    ADMITTED = "guest let in"
    MEMBER = "no seat"
    """A member of the channel whom no round has on its roster."""
    GUEST = "guest"
    LEFT = "left"
    """Not in the channel: left, removed, deactivated, or never there."""
    FOREIGN = "foreign"
    BOT = "bot"


PARTS = (Who.FACILITATOR, Who.DECISION_MAKER, Who.DEPUTY, Who.OWNER, Who.LEAD, Who.ITS_OWN)
TAKE_PART = frozenset({Who.SEATED, Who.ADMITTED})
IN_CHANNEL = TAKE_PART | {Who.MEMBER}
ANYBODY_HERE = IN_CHANNEL | {Who.GUEST, Who.LEFT}
"""Of this organisation, whatever their channels: for what is about nobody but themselves."""


class About(StrEnum):
    """Whose matter something is."""

    ROUND = "round"
    TRIAL = "trial"
    TEAM = "team"
    PERSON = "person"


class Act(StrEnum):
    """What people do and read."""

    # a round
    START = "start the round"
    CANCEL = "end the round without a commitment"
    CLOSE = "close a step"
    UNDO = "undo what one has decided, or announce it at once"
    EXTEND = "give a step more time"
    REST = "let the round rest, and go on"
    ADMIT = "say who takes part"
    CORRECT = "put question and windows right, open a step again"
    GUIDE = "read the guide to leading a step"
    HOLD_UP = "say what becomes of somebody who holds the step up"
    WRITE = "give a note"
    OWN_NOTE = "change a note of one's own"
    TAKE_BACK = "take a note of one's own back before anybody has read it"
    CONSENT = "agree that few notes are shown"
    HIDE = "hide a revealed note"
    ASK_TO_HIDE = "ask that a note is hidden"
    PICK_FOCUS = "pick the lever"
    MERGE = "join duplicates"
    SAY_SAME = "say that two forces are the same point"
    SPLIT = "take joined forces apart"
    VOTE = "vote"
    DONE = "be through with a step, lock a ballot"
    WORD_QUESTIONS = "word the questions"
    SUGGEST = "suggest a question"
    PRECEDENT = "give a precedent"
    TELL = "go on to the next precedent that is told"
    JOT = "jot down for oneself what strikes one"
    BEGIN = "begin a precedent or a plan, and throw that away"
    PLAN = "hand a plan in"
    OWN_PLAN = "change or withdraw a plan of one's own"
    COMPARE = "compare plans"
    CHOOSE = "choose plans, ask owners, seal"
    SETTLE_FATES = "say what becomes of the plans that are not tried"
    OFFER_TO_OWN = "offer to own a trial"
    ANSWER_OWNERSHIP = "accept or decline to own a chosen plan"
    DETAILS = "set a chosen plan's actions, review and criterion"
    CHECKER = "name who checked a plan"
    FORECAST = "forecast"
    SEE_ROLES = "see who has which role"
    PASS_ON = "pass a role on, name its deputy"
    KEEP_ROLE = "keep a role that was offered to somebody"
    ANSWER_ROLE = "accept or decline a role"
    TAKE_ROLE = "take over a role that is open"
    ROLE_BACK = "take a role back from its deputy"
    UNUSED_PLAN = "start a plan that was left over"
    LEFTOVERS = "show what is left over"
    # a trial
    GO_LIVE = "say from which day it is live, move that day"
    LATE_BUILD = "give up what is being built; if it is late, agree on another day or on less"
    LOG = "log a week, check the counting"
    GUARD = "decide about a crossed harm limit or stop line"
    LOOK_AFTER = "stop a trial, say what is in its way, hand it over"
    REVIEW = "move or close the review"
    LEARN = "write what was learnt"
    SIGN = "have what one wrote shown with one's name, or not at all"
    FIRST_WEEK = "tick or move a first-week action"
    FIND_OWNER = "ask somebody to own it"
    OWN = "own a trial that nobody looks after"
    ANSWER_OFFER = "accept or decline to own it"
    DROP = "drop a trial that nobody owns yet"
    # a team
    SET_UP = "set a round up"
    PANEL = "see what is open here"
    STATUS = "read where the rounds stand"
    TRIALS = "read the trials under way"
    DIGEST = "read the digest, its details and files"
    REPORT = "have a report made of a round, a trial or a year"
    DIGEST_WHEN = "say who gets the digest, and when"
    ANSWER_TODO = "say yes or no to see something done that was decided"
    SEE_DONE = "say that something decided is done, move it, hand it over, give it up"
    AGREE = "agree that what a trial tried is scaled"
    WHOLE_TEAM = "export the whole team, ask to erase it"
    ANSWER_ERASING = "agree to erase the team, or object"
    SEARCH = "search the register"
    BRING = "enter what was there before"
    FUNNEL = "read and keep the team's numbers"
    # a person
    MINE = "read one's own page, notes and plans"
    OWN_TIME = "set one's hours, zone and absence"
    CALENDAR = "subscribe to one's calendar"
    ANSWER_BACK = "say what a typed word was meant as"
    REHEARSE = "try a round alone"
    OWN_DATA = "export or forget what is held about oneself"
    HELP = "read the help"


@dataclass(frozen=True, slots=True)
class Row:
    """`ways`: how it is done: words as `/word`, buttons and forms by their names, typed lines and signs in words.
    Who stands in `given` may only while the condition holds that is said there."""

    about: About
    who: frozenset[Who]
    ways: tuple[str, ...] = ()
    given: Mapping[Who, str] = field(default_factory=dict)
    by_itself: bool = False
    """Time and the bot itself may as well."""

    @property
    def refusal(self) -> Because:
        """What is said to somebody who takes part and has not the part that it needs."""
        parts = self.who | self.given.keys()
        if Who.OWNER in self.who and self.about is About.TRIAL:
            return Because.NOT_YOURS if Who.ITS_OWN in self.who else Because.NOT_OWNER
        if Who.FACILITATOR in parts:
            return Because.NOT_FACILITATOR
        if Who.DECISION_MAKER in self.who:
            return Because.NOT_DECISION_MAKER
        return Because.NOT_YOURS if Who.ITS_OWN in parts else Because.NOT_A_MEMBER


def _row(about: About, who: Collection[Who], ways: str, given: Mapping[Who, str] | None = None, **more: bool) -> Row:
    return Row(about, frozenset(who), tuple(w.strip() for w in ways.split(",") if w.strip()), given or {}, **more)


_F, _D, _O, _ITS_OWN = Who.FACILITATOR, Who.DECISION_MAKER, Who.OWNER, Who.ITS_OWN
_ALL = TAKE_PART
_ROUND, _TRIAL, _TEAM, _PERSON = About
_BEFORE = {Who.LEFT: "they were in no round yet"}

TABLE: Mapping[Act, Row] = {
    Act.START: _row(_ROUND, {_F}, "round.start, round.confirm, round.start_on, round.change", by_itself=True),
    Act.CANCEL: _row(
        *(_ROUND, {_F}, "/cancel, round.cancel, round.end"),
        {Who.SEATED: "nobody who takes part facilitates"},
        by_itself=True,
    ),
    Act.CLOSE: _row(_ROUND, {_F}, "/close, step.close, step.without, close.unread", by_itself=True),
    Act.EXTEND: _row(_ROUND, {_F}, "/extend, step.extend", {Who.SEATED: "in live pace"}),
    Act.REST: _row(_ROUND, {_F}, "/pause, /resume, round.resume, break.take", by_itself=True),
    Act.ADMIT: _row(
        *(_ROUND, {_F}, "/add, edit.add, edit.remove, edit.remove_yes, guest.admit, guest.decline"), by_itself=True
    ),
    Act.UNDO: _row(
        *(_ROUND, {_ITS_OWN}, "/undo, /announce, held.undo, held.now"),
        {_F: "theirs to decide", _D: "theirs to decide"},
    ),
    Act.CORRECT: _row(
        *(_ROUND, {_F}),
        "/edit, edit.show, edit.question, edit.deadline, edit.deadline_yes, edit.windows, edit.windows_yes, "
        "edit.again, edit.again_yes, edit.late, merge.dots",
    ),
    Act.GUIDE: _row(_ROUND, {_F}, "guide.show"),
    Act.HOLD_UP: _row(_ROUND, {_F}, "holdup.wait, holdup.away, holdup.deputy", by_itself=True),
    Act.WRITE: _row(
        *(_ROUND, _ALL),
        "a line in private, note.write, note.page, make.note, draft.place, text.take, text.private, text.leave, "
        "text.drop",
    ),
    Act.OWN_NOTE: _row(_ROUND, {_ITS_OWN}, "editing one's message, note.edit, late.post, late.hold, late.withdraw"),
    Act.TAKE_BACK: _row(
        _ROUND, {_ITS_OWN}, "deleting one's message, note.withdraw, draft.drop", {Who.LEFT: "it is theirs"}
    ),
    Act.CONSENT: _row(_ROUND, {_ITS_OWN}, "note.consent"),
    Act.HIDE: _row(_ROUND, {_F}, "", by_itself=True),
    Act.ASK_TO_HIDE: _row(_ROUND, _ALL, "/hide"),
    Act.PICK_FOCUS: _row(_ROUND, {_D}, "focus.pick"),
    Act.MERGE: _row(
        *(_ROUND, {_F}, "merge.yes, merge.some, merge.no, merge.join, merge.more"),
        {Who.SEATED: "the facilitator decides as well, and proposed it"},
        by_itself=True,
    ),
    Act.SAY_SAME: _row(_ROUND, _ALL, "merge.same"),
    Act.SPLIT: _row(_ROUND, _ALL, "merge.object"),
    Act.VOTE: _row(
        _ROUND, _ALL, "emoji on an option, vote.cast, vote.back, ballot.page, ballot.read, ballot.rules, ballot.lines"
    ),
    Act.DONE: _row(_ROUND, _ALL, "/done, a tick under one's ballot, step.done, step.undone, ballot.lock"),
    Act.WORD_QUESTIONS: _row(_ROUND, {_F}, "question.write, question.next, question.drop", by_itself=True),
    Act.SUGGEST: _row(_ROUND, _ALL, "a line that begins like a question, make.suggestion, question.suggest"),
    Act.PRECEDENT: _row(_ROUND, _ALL, "precedent.write, make.precedent, kin.show"),
    Act.TELL: _row(_ROUND, {_F}, "telling.next"),
    Act.JOT: _row(_ROUND, _ALL, "jot.write"),
    Act.BEGIN: _row(_ROUND, _ALL, "page.drop"),
    Act.PLAN: _row(_ROUND, _ALL, "plan.write, plan.again"),
    Act.OWN_PLAN: _row(_ROUND, {_ITS_OWN}, "plan.edit, plan.withdraw, plan.not_so"),
    Act.COMPARE: _row(_ROUND, _ALL, "compare.first, compare.second, compare.same, compare.back"),
    Act.CHOOSE: _row(
        _ROUND, {_F, _D}, "choice.make, choice.drop, owner.ask, nextround.date, overlap.accept, round.commit"
    ),
    Act.SETTLE_FATES: _row(_ROUND, {_F, _D}, "fate.settle, fate.details"),
    Act.OFFER_TO_OWN: _row(_ROUND, _ALL, "owner.offer"),
    Act.ANSWER_OWNERSHIP: _row(_ROUND, {_ITS_OWN}, "owner.accept, owner.decline"),
    Act.DETAILS: _row(_ROUND, {_O, _F, _D}, "actions.write, live.date, review.date, criterion.write"),
    Act.CHECKER: _row(_ROUND, _ALL, ""),
    Act.FORECAST: _row(_ROUND, _ALL, "a digit on one's question, forecast.give, forecast.write"),
    Act.SEE_ROLES: _row(_ROUND, _ALL, "/roles, role.show"),
    Act.PASS_ON: _row(
        *(_ROUND, (), "role.offer, role.deputy"),
        {
            _F: "their own role; the decision-maker's deputy; that role where its holder is away or late",
            _D: "their own role",
        },
        by_itself=True,
    ),
    Act.KEEP_ROLE: _row(_ROUND, {_ITS_OWN}, "role.keep", {_F: "the role is theirs", _D: "the role is theirs"}),
    Act.ANSWER_ROLE: _row(_ROUND, {_ITS_OWN}, "role.yes, role.no"),
    Act.TAKE_ROLE: _row(_ROUND, (), "role.take", {Who.SEATED: "whoever has it has not moved for long"}),
    Act.ROLE_BACK: _row(_ROUND, {_F, _ITS_OWN}, "role.back", by_itself=True),
    Act.UNUSED_PLAN: _row(_ROUND, {_F, _D}, "trial.plan, trial.begin"),
    Act.LEFTOVERS: _row(_ROUND, (), "leftovers.show", {_F: "of the team's newest round"}),
    Act.GO_LIVE: _row(_TRIAL, {_O, _F}, "trial.live, trial.live_since, trial.live_move"),
    Act.LATE_BUILD: _row(_TRIAL, {_O, _F, _D}, "trial.live_agree, trial.smaller, trial.give_up"),
    Act.LOG: _row(
        _TRIAL,
        {_O, _F},
        "numbers or a file in private, numbers sent to its web address, trial.log, trial.take, "
        "trial.check, trial.more, trial.calm, trial.address, trial.address_new",
    ),
    Act.GUARD: _row(_TRIAL, {_O, _F, _D}, "trial.guard"),
    Act.LOOK_AFTER: _row(_TRIAL, {_O}, "trial.stop, trial.block, trial.hand_over"),
    Act.REVIEW: _row(_TRIAL, {_O, _F}, "trial.review_date, trial.close", by_itself=True),
    Act.LEARN: _row(_TRIAL, _ALL, "trial.learn"),
    Act.SIGN: _row(_TRIAL, {_ITS_OWN}, "trial.show_mine, trial.keep_mine"),
    Act.FIRST_WEEK: _row(_TRIAL, {_O, _ITS_OWN}, "trial.tick, trial.move"),
    Act.FIND_OWNER: _row(_TRIAL, {_O, _F, _D, Who.DEPUTY}, "trial.ask", by_itself=True),
    Act.OWN: _row(_TRIAL, (), "trial.own", {Who.SEATED: "nobody owns it, or its review was missed"}),
    Act.ANSWER_OFFER: _row(_TRIAL, {_ITS_OWN}, "trial.accept, trial.decline"),
    Act.DROP: _row(_TRIAL, {_F}, "trial.drop", by_itself=True),
    Act.SET_UP: _row(_TEAM, IN_CHANNEL, "/new, round.again, round.new"),
    Act.PANEL: _row(_TEAM, IN_CHANNEL, "the command alone, now.show, the question what now"),
    Act.STATUS: _row(_TEAM, IN_CHANNEL, "/status"),
    Act.TRIALS: _row(_TEAM, IN_CHANNEL, "/trials"),
    Act.DIGEST: _row(_TEAM, IN_CHANNEL, "/digest, digest.more"),
    Act.REPORT: _row(_TEAM, IN_CHANNEL, "/report, report.show, report.make"),
    Act.DIGEST_WHEN: _row(_TEAM, {_F, Who.LEAD}, "digest.when"),
    Act.ANSWER_TODO: _row(_TEAM, {_ITS_OWN}, "todo.accept, todo.decline"),
    Act.SEE_DONE: _row(_TEAM, {_F, _ITS_OWN}, "todo.done, todo.move, todo.hand_over, todo.drop"),
    Act.AGREE: _row(_TEAM, {_D}, "todo.agree, todo.refuse"),
    Act.WHOLE_TEAM: _row(_TEAM, {_F}, "/team, team.export, team.erase"),
    Act.ANSWER_ERASING: _row(_TEAM, _ALL, "team.yes, team.no"),
    Act.SEARCH: _row(_TEAM, IN_CHANNEL, "/search, register.filter, register.search"),
    Act.BRING: _row(_TEAM, {_F}, "/bring, bring.trial, bring.result"),
    Act.FUNNEL: _row(_TEAM, IN_CHANNEL, "/funnel, funnel.write, funnel.save"),
    Act.MINE: _row(_PERSON, IN_CHANNEL, "/mine, the bot's own page", _BEFORE),
    Act.OWN_TIME: _row(
        *(_PERSON, IN_CHANNEL),
        "/hours, /away, hours.confirm, hours.write, me.away, me.later, zone.use, zone.keep",
        _BEFORE,
    ),
    Act.CALENDAR: _row(_PERSON, IN_CHANNEL, "/calendar, calendar.renew, the feed's address", _BEFORE),
    Act.ANSWER_BACK: _row(_PERSON, IN_CHANNEL, "word.do, word.note", _BEFORE),
    Act.REHEARSE: _row(_PERSON, IN_CHANNEL, "/rehearse, rehearse.begin, rehearse.end", _BEFORE),
    Act.OWN_DATA: _row(_PERSON, ANYBODY_HERE, "/export, /forget, me.export, me.kept, me.forget, me.forgotten"),
    Act.HELP: _row(_PERSON, ANYBODY_HERE, "/help, /guide, guide.which, guide.person"),
}
BY_WAY: Mapping[str, Act] = {way: act for act, row in TABLE.items() for way in row.ways}
"""Which row each way of doing something belongs to."""


def parts(
    by: MemberId,
    people: Collection[MemberId],
    *,
    facilitator: MemberId | None,
    decision_maker: MemberId | None = None,
    deputies: Collection[MemberId | None] = (),
    owners: Collection[MemberId | None] = (),
) -> frozenset[Who]:
    """What somebody is in a round or a trial by its own record; nobody has a part in it without a seat."""
    if by not in people:
        return frozenset()
    held = {
        Who.FACILITATOR: by == facilitator,
        Who.DECISION_MAKER: by == decision_maker,
        Who.DEPUTY: by in deputies,
        Who.OWNER: by in owners,
    }
    return frozenset({Who.SEATED, *(who for who, has in held.items() if has)})


def may(act: Act, found: Collection[Who], *, given: bool = False) -> bool:
    """Whether somebody who is all this may. `given`: the row's condition holds for them."""
    row = TABLE[act]
    return bool(row.who & set(found)) or (given and bool(row.given.keys() & set(found)))


def might(act: Act, found: Collection[Who]) -> bool:
    """Whether it is theirs if it is their own, or if the row's condition holds; which the ruling knows."""
    row, take_part = TABLE[act], bool(TAKE_PART & set(found))
    return may(act, found, given=True) or (take_part and _ITS_OWN in (row.who | row.given.keys()))


# --- printed --------------------------------------------------------------------------------------------------------


class Cell(StrEnum):
    """What a cell of the table says."""

    YES = "yes"
    IF = "if"
    NO = "-"


def cell(act: Act, who: Who) -> Cell:
    """What this kind of person may; whoever has a part takes part as well."""
    row, found = TABLE[act], {who, *([Who.SEATED] if who in (*PARTS, Who.ADMITTED) else [])}
    if row.who & found:
        return Cell.YES
    return Cell.IF if row.given.keys() & found else Cell.NO


def table() -> str:
    """The whole as Markdown, for DEVELOPERS.md."""
    head = ("what", *Who, "how; `if`: while")
    lines = [_line(head), _line("---" for _ in head)]
    for about in About:
        lines.append(_line((f"**a {about}**", *("" for _ in head[1:]))))
        lines += [_line(_cells(act)) for act, row in TABLE.items() if row.about is about]
    return "\n".join(lines)


def _cells(act: Act) -> tuple[str, ...]:
    row = TABLE[act]
    ways = ", ".join(f"`{w}`" if w.startswith("/") or "." in w else w for w in row.ways)
    given = "; ".join(f"{who}: {when}" for who, when in row.given.items())
    return (act.value, *(cell(act, who).value for who in Who), "; ".join(filter(None, (ways, given))))


def _line(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cells) + " |"
