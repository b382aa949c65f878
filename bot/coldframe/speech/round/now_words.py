"""How a round stands for the person who asks "what now?": what is open for them, with its button; to its facilitator
also who is awaited, in numbers where people answer in private, what is missing, and what can be done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from coldframe.domain.names import RUNNING, ForceId, LeverId, MemberId, MoreTime, PauseReason, PlanId, Role, Side, Step
from coldframe.domain.people.seats import deputy_ready
from coldframe.domain.refusals import Because
from coldframe.domain.round import counter, roles, rules, undoing
from coldframe.domain.round.wanting import Want, Wanted, wanted
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Items, Line, To, When, line
from coldframe.message.saying import offer, paragraph
from coldframe.ports.chat import Hindrance
from coldframe.speech import wanting_words
from coldframe.speech.answers import second_thoughts
from coldframe.speech.names import about, are_in, count, message_name, title, to_sheet, who
from coldframe.speech.round import cards, prompts, readiness_words, role_words, unread_words
from coldframe.speech.round.guide_words import GUIDE
from coldframe.speech.steps import WORDS


@dataclass(frozen=True, slots=True)
class Seen:
    """What its facilitator is told of a round beyond the round's own record."""

    now: datetime | None = None
    back: Mapping[MemberId, datetime | None] = field(default_factory=dict)
    """Who of those that it may wait for is outside their hours, and when they are back, if within a year or so."""
    starts: datetime | None = None
    """When it starts by itself."""
    reads_until: datetime | None = None
    """A close waits until then, at the latest, since the platform cannot be read."""
    hindered: tuple[Hindrance, ...] = ()
    free_on: datetime | None = None
    """When there is a place for a trial, while there is none."""
    invitation: str = ""


def blocks(round_: Round, me: MemberId, seen: Seen | None = None) -> list[Block]:
    """One round, to one person. `seen` for its facilitator alone."""
    told_below = round_.step is Step.COMMITMENT and seen is not None  # what is missing, and who can give it
    found: list[Block] = [paragraph(each) for each in (where(round_), *([] if told_below else _yours(round_, me)))]
    if seen is not None:
        found.append(Items(tuple(_led(round_, me, seen))))
    buttons = _buttons(round_, me, seen)
    return [*found, offer(*buttons)] if buttons else found


def leading(round_: Round, me: MemberId, seen: Seen) -> tuple[Block, ...]:
    """To its facilitator: who is awaited, what is in the way, and what can be done about it."""
    found = (replace(button, value=button.value or about(round_)) for button in _of_facilitator(round_, seen))
    return Items(tuple(_led(round_, me, seen))), offer(*found)


def where(round_: Round) -> Line:
    words = line("*{name}* is at *{step}*", name=theirs(round_.name, 60), step=title(round_.step))
    if round_.paused is not None:
        return words + line(" and rests: {why}.", why=wanting_words.why_rests(round_))
    if round_.progress.due is not None:
        words += line(", until {due}", due=When(round_.progress.due))
    expected = len(rules.expected(round_))
    if round_.step in RUNNING and expected > 1:
        words += line("; {n}", n=are_in(counter.told_in(round_), expected))
    return words + line(".")


# --- what is open for this person -----------------------------------------------------------------------------------

_TO_DO: Mapping[Step, str] = {
    Step.NOTES: "what holds us back, and what helps. One idea a note, here with − or + before it, or by the button.",
    Step.FOCUS: "pick the lever that the round works on, with your reason.",
    Step.MERGE: "say which notes are the same point, then close the list.",
    Step.DOTS: "{left} left to put, on {sheet} in our direct messages.",
    Step.QUESTIONS: "turn the strongest forces into questions, then publish them.",
    Step.PRECEDENTS: "tell what somebody else did about one of the questions.",
    Step.PLANS: "write a plan, or say that you're done.",
    Step.BALLOT: "{left} left to give, on {sheet} in our direct messages.",
    Step.PLACEMENT: "compare the plans, two at a time, in our direct messages.",
}


def _yours(round_: Round, me: MemberId) -> list[Line]:
    """What to do, or why there is nothing; nothing of it is anybody else's."""
    if round_.step not in RUNNING or round_.paused is not None or undoing.may_settle(round_, me):
        return []
    mine = [want for want in wanted(round_) if me in want.who]
    if round_.step is Step.COMMITMENT:
        words = [line("*For you:* {what}.", what=wanting_words.lack(round_, want)) for want in mine]
        return words or [line("Nothing for you to do just now.")]
    if me not in rules.expected(round_):
        return [_not_expected(round_, me)]
    if me in round_.progress.done:
        return [line("You're through with this step. ") + cards.what_follows(round_, round_.step)]
    return [_to_do(round_, me)]


def _not_expected(round_: Round, me: MemberId) -> Line:
    seat = round_.seats.get(me)
    if seat is not None and seat.joined_in is round_.step:
        return line("You take part from the next step on.")
    if seat is not None and seat.away:
        return line("You count as away, so nothing waits for you.")
    return line("Nothing for you to do just now. ") + cards.what_follows(round_, round_.step)


def _to_do(round_: Round, me: MemberId) -> Line:
    opens, vote = round_.progress.opens, WORDS[round_.step].vote
    ledger = round_.ledger()
    left = ledger.quota - len(ledger.counted(me)) if ledger is not None else 0
    todo = (
        _TO_DO[round_.step] if ledger is None or left else "nothing is left to give; say on {sheet} that you're done."
    )
    sheet = to_sheet(round_, me, "your ballot" if round_.step is Step.BALLOT else "your sheet")
    words = line("*For you:* ") + line(todo, left=count(left, vote.thing) if vote is not None else "", sheet=sheet)
    if opens is not None and rules.RULES[round_.step].read_hours:
        plans = To(message_name(round_.id, "plans"), "the plans")
        read = " Read {plans} in the channel first; ballots come from {at} on, in everybody's working hours."
        words += line(read, plans=plans, at=When(opens))
    if me in rules.came_in(round_) and ledger is None:
        words += line(" You have given something already and can change it until the close.")
    return words


# --- to its facilitator ---------------------------------------------------------------------------------------------


def _led(round_: Round, me: MemberId, seen: Seen) -> list[Line]:
    """Who is awaited, what is missing, what happens by itself and what can be done about it."""
    found = [*_awaited(round_, seen), *_missing(round_, me, seen), *_what_follows(round_, me, seen)]
    return [each for each in found if each]


def _awaited(round_: Round, seen: Seen) -> list[Line]:
    if round_.step is Step.SETUP or (round_.paused is not None and round_.paused.channel_lost):
        return []
    if len(rules.expected(round_)) > 1 and round_.step is not Step.COMMITMENT:
        return [_in_so_far(round_), _asleep(round_, seen), *_not_waited_for(round_)]
    people = tuple(dict.fromkeys(member for want in wanted(round_, seen.now) for member in want.who))
    words = [line("{w}", w=who(round_, member)) + _hours(seen, member) for member in people]
    return [line("*Awaited:* {people}.", people=wanting_words.either(words))] if words else []


def _hours(seen: Seen, member: MemberId) -> Line:
    if member not in seen.back:
        return ()
    back = seen.back[member]
    return line(" (outside working hours until {at})", at=When(back)) if back else line(" (not at work for long)")


def _in_so_far(round_: Round) -> Line:
    """As everybody may read it: nobody sees in it who has just answered."""
    told, all_, needed = counter.told_in(round_), len(rules.expected(round_)), rules.quorum(round_)
    words = line("*Awaited:* {n} of {all} answers, counted every few minutes", n=all_ - told, all=all_)
    enough = "{n} are enough at the deadline" if needed else "Whoever is in at the deadline is enough"
    return words + line(". ") + line(enough, n=needed) + _chief_among_them(round_) + line(".")


def _chief_among_them(round_: Round) -> Line:
    if rules.RULES[round_.step].needs is None:
        return ()
    return line(", with the votes of {chief} among them", chief=who(round_, round_.roles.acting(Role.DECISION_MAKER)))


def _asleep(round_: Round, seen: Seen) -> Line:
    """Of all whom it waits for, in or not: whose hours it is in is no secret, and who has answered is."""
    people = rules.expected(round_)
    asleep = sum(member in seen.back for member in people)
    words = "It is outside working hours for {n} of all {every} just now."
    return line(words, n=asleep, every=len(people)) if asleep else ()


def _not_waited_for(round_: Round) -> list[Line]:
    """Whose time comes after the deadline, as the facilitator was told, and who is away."""
    due, personal = round_.progress.due, round_.progress.personal
    after = [m for m in rules.expected(round_) if due is not None and personal.get(m, due) > due]
    away = [m for m in round_.active() if round_.seats[m].away]
    found: list[Line] = []
    if after:
        found.append(line("It doesn't wait for {w}, who can't get to it by the deadline.", w=_names(round_, after)))
    if away:
        found.append(line("Away and not expected: {w}.", w=_names(round_, away)))
    return found


def _names(round_: Round, people: Sequence[MemberId]) -> Line:
    return wanting_words.either([line("{w}", w=who(round_, member)) for member in people], "and")


def _missing(round_: Round, me: MemberId, seen: Seen) -> list[Line]:
    if undoing.may_settle(round_, me) or seen.reads_until is not None:
        return []
    found = [line("*Missing:* {what}.", what=_lack(round_, want)) for want in wanted(round_, seen.now)]
    return found + [readiness_words.hindrance(round_, each, seen.invitation) for each in seen.hindered] + _place(seen)


def _lack(round_: Round, want: Wanted) -> Line:
    """Answers in numbers, as far as everybody may know them."""
    if want.what is not Want.ANSWERS or round_.paused is not None:
        return wanting_words.lack(round_, want)
    more = rules.quorum(round_) - counter.told_in(round_)
    if more > 0:
        return line("{n}", n=count(more, "more answer"))
    return line("nothing; enough are in, and the others have until the deadline")


def _place(seen: Seen) -> list[Line]:
    if seen.free_on is None:
        return []
    return [line("Every place for a trial is taken; one is free on {d}.", d=When(seen.free_on, "day"))]


# --- what happens by itself, and what can be done -------------------------------------------------------------------


def _what_follows(round_: Round, me: MemberId, seen: Seen) -> list[Line]:
    if round_.paused is not None:
        return [line("*To do:* ") + line(wanting_words.TO_GO_ON.get(round_.paused, wanting_words.TO_GO_ON_ELSEWHERE))]
    if round_.step is Step.SETUP:
        return [line("It starts by itself {at}.", at=When(seen.starts))] if seen.starts is not None else []
    held = round_.decided()
    if held is not None and undoing.may_settle(round_, me):
        return [
            line("You have decided; I announce it at {at}, and until then you can undo it.", at=When(held.at, "hour"))
        ]
    if seen.reads_until is not None:
        return [unread_words.stays_open_line(round_, seen.reads_until)]
    return [_at_the_deadline(round_)]


def _at_the_deadline(round_: Round) -> Line:
    progress = round_.progress
    if progress.settles_at is not None and counter.all_told(round_):
        return line("Everybody is in; it closes at {at}.", at=When(progress.settles_at, "hour"))
    if was_asked(round_):
        return line("*To do:* choose below. ") + prompts.without_answer(round_, MoreTime.QUORUM)
    if progress.due is None:
        return ()
    return line(_template(round_), due=When(progress.due), deputy=_deputy(round_))


def was_asked(round_: Round) -> bool:
    """Whether the step cannot close, and its facilitator has been asked what shall happen."""
    return round_.paused is None and (round_.progress.stuck or round_.progress.nothing)


def _template(round_: Round) -> str:
    rule, extended = rules.RULES[round_.step], round_.progress.extended
    if rule.decides is None:
        if not rule.quorum:
            return "It closes {due} as it stands then; you can close it sooner."
        more = "I ask you what shall happen" if extended else "it stays open for half as long again"
        return "It closes {due} if enough are in, else " + more + ". You can give more time, or close it sooner."
    if not rule.hands_over:
        return "If something is still missing by {due}, it gets more time; after three times it rests."
    return _if_undecided(round_, extended=extended)


def _if_undecided(round_: Round, *, extended: bool) -> str:
    if not extended:
        return "If that isn't done by {due}, it stays open for half as long again. You can give more time."
    handed = rules.RULES[round_.step].decides in round_.roles.handed_over or not _deputy(round_)
    return (
        "If that isn't done by {due}, the round rests." if handed else "If that isn't done by {due}, {deputy} decides."
    )


def _deputy(round_: Round) -> Line:
    role = rules.RULES[round_.step].decides
    deputy = round_.roles.deputy(role) if role is not None and deputy_ready(round_, role) else None
    return line("{d}, the deputy,", d=who(round_, deputy)) if deputy is not None else ()


# --- its buttons ----------------------------------------------------------------------------------------------------

_EDIT = Button("Put right", "edit.show", "", says="Put something right in the round")
_CANCEL = Button("Cancel …", "round.cancel", "", "danger")


def _buttons(round_: Round, me: MemberId, seen: Seen | None) -> tuple[Button, ...]:
    if round_.step is not Step.SETUP and round_.step not in RUNNING:
        return ()
    found = _own(round_, me)
    if undoing.may_settle(round_, me):
        found += second_thoughts(round_)
    if round_.is_facilitator(me):
        found += _of_facilitator(round_, seen)
    elif me in round_.active() and roles.is_open(round_, Role.FACILITATOR):
        take = Button("Take over as facilitator", "role.take", about(round_, Role.FACILITATOR), "primary")
        cancel = (_CANCEL,) if round_.roles.acting(Role.FACILITATOR) not in round_.active() else ()
        found += (take, *cancel)
    if roles.concerns(round_, me):
        found += (Button("Roles", "role.show", "", says=f"Roles in {theirs(round_.name, 60).text}"),)
    return tuple(replace(button, value=button.value or about(round_)) for button in found)


def _own(round_: Round, me: MemberId) -> tuple[Button, ...]:
    """For what is open for this person in the step."""
    if round_.step not in RUNNING or me not in round_.seats:
        return ()
    if round_.paused is not None or undoing.may_settle(round_, me):
        return WORDS[round_.step].panel
    found = (_for(round_, want, me) for want in wanted(round_) if me in want.who)
    return (*WORDS[round_.step].panel, *dict.fromkeys(button for each in found for button in each))


def first_steps(round_: Round, me: MemberId) -> list[Button]:
    """The smallest thing that this person can do in the step, of levers each; where that is on their sheet, how it
    stands."""
    if round_.step is Step.FOCUS:
        return _levers(round_)
    found = next((button for button in _own(round_, me) if button.action != "step.done"), cards.WHAT_NOW)
    label, says = f"{found.label.partition(' …')[0]} …" if " …" in found.label else found.label, found.says
    return [replace(found, label=label, value=found.value or about(round_), style="primary", says=says or found.label)]


def _for(round_: Round, want: Wanted, me: MemberId) -> list[Button]:
    match want.what:
        case Want.LEVER:
            return _levers(round_)
        case Want.QUESTIONS | Want.PUBLISHING:
            return _questions(round_)
        case Because.OWNER_MISSING if want.plan is not None:
            return _ownership(round_, want.plan, me)
        case _:
            label, action = _FILLS.get(want.what, ("", ""))
            value = about(round_, want.plan) if want.plan is not None else about(round_)
            return [Button(label + _of_plan(round_, want), action, value)] if action else []


_FILLS: Mapping[Want | Because, tuple[str, str]] = {
    Because.CRITERION_INCOMPLETE: ("Criterion …", "criterion.write"),
    Because.CHECK_MISSING: ("Criterion …", "criterion.write"),
    Because.ACTIONS_MISSING: ("First-week actions …", "actions.write"),
    Because.LIVE_MISSING: ("Live from …", "live.date"),
    Because.FATES_MISSING: ("What becomes of the others …", "fate.settle"),
    Because.NEXT_ROUND_MISSING: ("Date of the next round …", "nextround.date"),
    Because.OVERLAP_UNCONFIRMED: ("Accept the overlap", "overlap.accept"),
    Want.SEAL: ("Seal the commitment", "round.commit"),
}


def _of_plan(round_: Round, want: Wanted) -> str:
    """Where two trials are settled at once, whose it is."""
    several = want.plan is not None and len(round_.choices) > 1
    return f" {theirs(round_.plans[want.plan].title, 30).text}" if several and want.plan is not None else ""


def _levers(round_: Round) -> list[Button]:
    found = {n.lever for n in (round_.notes[i] for i in round_.revealed) if n.side is Side.RESTRAINING and not n.hidden}
    names = [(LeverId(key), name) for key, name in round_.settings.levers if key in found]
    return [Button(f"{name} …", "focus.pick", about(round_, key), says=f"Pick {name}") for key, name in names]


def _questions(round_: Round) -> list[Button]:
    done = {question.force for question in round_.questions}
    left = [ForceId(s.option) for s in round_.forces_standing if s.carried and s.option not in done]
    texts = [(force, theirs(round_.force_text(force), 40).text) for force in left]
    return [Button(f"Ask about: {text} …", "question.write", about(round_, force)) for force, text in texts]


def _ownership(round_: Round, plan: PlanId, me: MemberId) -> list[Button]:
    if round_.choices[plan].asked != me:
        return [Button("Ask an owner …", "owner.ask", about(round_, plan))]
    named = theirs(round_.plans[plan].title, 40).text
    yes = Button(f"I accept {named}", "owner.accept", about(round_, plan), "primary", says=f"Own the trial {named}")
    return [yes, Button("I decline …", "owner.decline", about(round_, plan), says=f"Don't own the trial {named}")]


def _of_facilitator(round_: Round, seen: Seen | None) -> tuple[Button, ...]:
    if round_.step is Step.SETUP:
        return (Button("Start now", "round.start", "", "primary"), GUIDE, _EDIT, _CANCEL)
    replaced = (role_words.replaced(round_),) if _somebody_else_may_decide(round_) else ()
    if round_.paused is not None:
        go_on = () if round_.paused.channel_lost else (Button("Go on", "round.resume", "", "primary"),)
        return (*go_on, *replaced, GUIDE, _EDIT, _CANCEL)
    unread = (unread_words.without_reading(round_),) if seen is not None and seen.reads_until is not None else ()
    if was_asked(round_):
        return (*unread, *prompts.ways_on(round_, MoreTime.QUORUM), GUIDE, _EDIT)
    close = (Button("Close the step", "step.close", ""),) if rules.RULES[round_.step].close else ()
    return (*unread, *close, Button("Extend", "step.extend", ""), *replaced, GUIDE, _EDIT, _CANCEL)


def _somebody_else_may_decide(round_: Round) -> bool:
    late = round_.progress.extended or round_.paused is PauseReason.NOBODY_DECIDED
    return late and round_.step is Step.FOCUS and roles.may_be_replaced(round_)
