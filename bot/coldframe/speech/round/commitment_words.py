"""The commitment: the desk on which it is settled, what its people are asked, and the card that seals it."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta

from coldframe.domain.names import PlanId, Role, Step
from coldframe.domain.round import commitment, wanting
from coldframe.domain.round.fates import untried
from coldframe.domain.state import Choice, Plan, Round
from coldframe.domain.trial.state import REVIEW_TAKES, first_whole_week
from coldframe.message.harmless import signed, theirs, written
from coldframe.message.nodes import (
    Appointment,
    Block,
    Button,
    CalendarFile,
    Facts,
    Items,
    Line,
    Message,
    Paragraph,
    When,
    line,
)
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech import likely, wanting_words
from coldframe.speech.levels import harm, stop_line
from coldframe.speech.names import NO_REASON, about, choosers, count, spelt, title, together, who
from coldframe.speech.round import delicate_words, fate_desk_words
from coldframe.speech.round.cards import WHAT_NOW
from coldframe.timing.dates import short_day, span_words

A_DAY = 1440  # minutes


def desk(round_: Round, running: int, free_on: datetime | None) -> Message:
    """The channel's card while the commitment is settled, kept up to date."""
    places = round_.settings.trials_at_once - running
    head = line(
        "{name}, commitment: choose at most {n}. Until {due}.",
        name=theirs(round_.name, 60),
        n=count(max(places, 0), "trial"),
        due=When(round_.progress.due) if round_.progress.due else "later",
    )
    blocks: list[Block] = [
        heading("{name}: Commitment", name=theirs(round_.name, 60)),
        paragraph(
            "{w} can choose. {r}{free}",
            w=choosers(round_),
            r=_places(running, places),
            free=line(" The next place is free on {d}.", d=When(free_on, "day")) if free_on else (),
        ),
    ]
    for plan_id, choice in round_.told_choices().items():
        blocks += _choice_blocks(round_, round_.plans[plan_id], choice)
    blocks += _not_told_yet(round_)
    blocks += fate_desk_words.listed(round_)
    blocks += _open_plans(round_)
    blocks.append(paragraph(_next_round_line(round_)))
    lacks = wanting.wanted(round_) if commitment.missing(round_) else ()
    if lacks:
        blocks.append(Paragraph(line("Still missing:"), mark="missing"))
        blocks.append(Items(tuple(line("{what}.", what=wanting_words.lack(round_, want)) for want in lacks)))
    blocks.append(offer(*_desk_buttons(round_, bool(lacks))))
    return Message(head, tuple(blocks))


def _places(running: int, free: int) -> str:
    under_way = f"{count(running, 'trial')} under way" if running else "No trials under way"
    left = {0: "no place is free", 1: "one place is free", 2: "two places are free"}
    return f"{under_way}: {left.get(free, f'{free} places are free')}."


def _choice_blocks(round_: Round, plan: Plan, choice: Choice) -> list[Block]:
    key = about(round_, plan.id)
    owner: Line = line("nobody yet")
    if choice.owner is not None:
        owner = line("{o}", o=who(round_, choice.owner))
        if choice.asked is not None:
            owner += line(", until {o}, who was asked, accepts", o=who(round_, choice.asked))
    elif choice.asked is not None:
        owner = line("{o} was asked", o=who(round_, choice.asked))
    rows: list[tuple[str, Line]] = [
        ("Owner", owner),
        ("First week", line("{n}", n=count(len(choice.actions), "action") if choice.actions else "no actions yet")),
        ("Live", _planned(choice)),
        *delicate_words.at_the_commitment(plan),
    ]
    if choice.odds is not None:
        rows.append(("Odds", line("{w}", w=likely.in_a_line(choice.odds))))
    if choice.why:
        rows.append(("Why now", written(choice.why, 300)))
    for member, reason in choice.declined:
        why = signed(reason or NO_REASON, member, 200)
        rows.append(("Declined", line("{who}: {why}", who=who(round_, member), why=why)))
    if choice.offers_shown():
        names = ", ".join(round_.name_of(m) for m in choice.offers_shown())
        rows.append(("Would own it", written(names, 200)))
    buttons = (
        Button("Ask an owner …", "owner.ask", key),
        Button("I would own it", "owner.offer", key),
        Button("First-week actions …", "actions.write", key),
        Button("Criterion …", "criterion.write", key),
        Button("Live from …", "live.date", key),
        Button("My forecast …", "forecast.write", key),
        Button("Take it out", "choice.drop", key, "danger"),
    )
    chosen = Paragraph(line("*Chosen: {title}*", title=theirs(plan.title, 80)), mark="chosen")
    return [chosen, Facts(tuple(rows)), offer(*buttons)]


def _planned(choice: Choice) -> Line:
    """The day on which it should be live, and the review that follows from it."""
    if choice.live is None or choice.review is None:
        return line("no day yet")
    return line("planned for {d}; review {r}", d=short_day(choice.live), r=When(choice.review, "day"))


def _not_told_yet(round_: Round) -> list[Block]:
    """That something is chosen, and when everybody hears what: its button stands among the others until then."""
    told = Counter(choice.announce_at for choice in round_.choices.values() if choice.announce_at is not None)
    one = "A plan is chosen. Its author hears of it first, in private; everybody else {at}."
    more = "Plans are chosen. Their authors hear of it first, in private; everybody else {at}."
    found = sorted(told.items())
    return [paragraph(more if number > 1 else one, at=When(at)) for at, number in found]


def _open_plans(round_: Round) -> list[Block]:
    rest = untried(round_)[: fate_desk_words.MOST]
    if not rest:
        return []
    buttons = tuple(
        Button(f"Choose: {theirs(round_.plans[p].title, 50).text}", "choice.make", about(round_, p)) for p in rest
    )
    return [offer(*buttons)]


def _next_round_line(round_: Round) -> Line:
    if round_.next_round is None:
        return line("Next round: no date yet.")
    return line("Next round: {d}.", d=When(round_.next_round, "day"))


def _desk_buttons(round_: Round, lacking: bool) -> tuple[Button, ...]:
    buttons = [fate_desk_words.button(round_)] if untried(round_) else []
    buttons.append(Button("Date of the next round …", "nextround.date", about(round_)))
    if commitment.overlaps(round_) and not round_.overlap_accepted:
        buttons.append(Button("Accept the overlap", "overlap.accept", about(round_)))
    if not lacking:
        buttons.append(Button("Seal the commitment", "round.commit", about(round_), "primary"))
    return (*buttons, WHAT_NOW)


def chosen(round_: Round, plan: Plan, announce_at: datetime | None) -> Message:
    """To whoever chose it."""
    title = theirs(plan.title, 80)
    if announce_at is None:
        return said("“{title}” is chosen, and everybody knows.", title=title)
    return said(
        "“{title}” is chosen. Its author hears of it first; I tell everybody else {at}, whoever wrote it. Please "
        "say nothing until then.",
        title=title,
        at=When(announce_at),
    )


def announced(round_: Round, plan: Plan) -> Message:
    """To the channel, at the moment that was fixed when the plan was chosen."""
    return said(
        "Chosen for a trial: *{title}*. Who would like to own it? Say so on the commitment card.",
        title=theirs(plan.title, 80),
    )


def author_told(round_: Round, plan: Plan, choice: Choice) -> Message:
    title = theirs(plan.title, 80)
    if choice.announce_at is None:
        words = line("Your plan “{title}” was chosen for a trial. Would you like to own it?", title=title)
    else:
        words = line(
            "Your plan “{title}” was chosen for a trial; everybody else hears of it {at}. Would you like to own it?",
            title=title,
            at=When(choice.announce_at),
        )
    return told(
        words,
        small("Your name shows only if you offer."),
        offer(Button("I would own it", "owner.offer", about(round_, plan.id), "primary")),
    )


def choice_is_off(plan: Plan) -> Message:
    """To its author, who was asked first."""
    return said("Your plan “{title}” was taken out of the choice again.", title=theirs(plan.title, 80))


def owner_asked(round_: Round, plan: Plan) -> Message:
    words = line(
        "Would you own the trial “{title}” for {w}: first-week actions, one number a week, the review? It's yours only "
        "if you accept. Please answer within one working day.",
        title=theirs(plan.title, 80),
        w=count(plan.weeks, "week"),
    )
    key = about(round_, plan.id)
    return told(
        words, offer(Button("I accept", "owner.accept", key, "primary"), Button("I decline …", "owner.decline", key))
    )


def you_own_it(round_: Round, plan: PlanId) -> Message:
    words = line("Thank you, you own it now. Next: the actions of its first week.")
    return told(words, offer(Button("First-week actions …", "actions.write", about(round_, plan), "primary")))


def offer_noted(sealed: bool) -> Message:
    if sealed:
        return said(
            "Noted. Your offer shows on the commitment card together with all others, a while after everybody has "
            "heard of the choice. It's yours only when the facilitator or the decision-maker asks you."
        )
    return said(
        "Noted: the commitment card says that you would own it. It's yours only when the facilitator or the "
        "decision-maker asks you, which needs no further yes from you."
    )


def owner_replaced(round_: Round, plan: Plan, member: str) -> Message:
    return said(
        "{who} owns the trial “{title}” from now on, at the facilitator's or the decision-maker's request. Nothing is "
        "left for you to do there.",
        who=who(round_, member),
        title=theirs(plan.title, 80),
    )


def declined(round_: Round, plan: Plan, member: str, reason: str) -> Message:
    words = line(
        "{who} declined to own “{title}”: “{why}” Without an owner it doesn't start.",
        who=who(round_, member),
        title=theirs(plan.title, 80),
        why=signed(reason or NO_REASON, member, 300),
    )
    return told(words, offer(Button("Ask somebody else …", "owner.ask", about(round_, plan.id), "primary")))


def sealed_card(round_: Round) -> Message:
    """The commitment card: what runs, who, until when, how it will be judged; with the dates attached."""
    titles = ", ".join(round_.plans[p].title for p in round_.choices)
    head = line("*Committed*: {titles}.", titles=theirs(titles, 300))
    blocks: list[Block] = [heading("{name}: Commitment", name=theirs(round_.name, 60)), paragraph(head)]
    for plan_id, choice in round_.choices.items():
        blocks += _sealed_choice(round_, round_.plans[plan_id], choice)
    blocks += fate_desk_words.listed(round_)
    blocks.append(paragraph(_next_round_line(round_)))
    blocks.append(
        small(
            "Measure, target, span, who is counted, stop line and harm measure are frozen from now on. Trials act "
            "on real customers: local law and your firm's responsible people have the last word."
        )
    )
    return Message(
        head, tuple(blocks), attachments=(CalendarFile("commitment", "Dates of the commitment", dates(round_)),)
    )


def _sealed_choice(round_: Round, plan: Plan, choice: Choice) -> list[Block]:
    criterion = plan.criterion
    assert choice.owner is not None and choice.review is not None
    rows: tuple[tuple[str, Line], ...] = (
        ("Owner", line("{o}", o=who(round_, choice.owner))),
        ("Measure", written(criterion.measure, 200)),
        ("Stop line", stop_line(criterion)),
        ("Harm measure", harm(criterion)),
        *delicate_words.at_the_commitment(plan),
        *((("Odds", line("{w}", w=likely.in_a_line(choice.odds))),) if choice.odds is not None else ()),
        *_dates_if_live(plan, choice.live, choice.review),
    )
    given = together(choice.forecasts.values())
    forecast = (small("Forecasts: {w}.", w=given),) if given else ()
    actions = tuple(
        line("{who}, by {d}: {what}", who=who(round_, a.who), d=When(a.due, "day"), what=theirs(a.text, 300))
        for a in choice.actions
    )
    return [paragraph("*{title}*", title=theirs(plan.title, 80)), Facts(rows), Items(actions), *forecast]


def _dates_if_live(plan: Plan, live: date | None, review: datetime) -> tuple[tuple[str, Line], ...]:
    """Earlier releases planned the review alone."""
    if live is None:
        return (("Review", line("{d}", d=When(review))),)
    return (
        ("Live", line("planned for {d}", d=short_day(live))),
        ("Runs", line("{w}", w=_weeks_if_live(plan, live))),
        ("Review", line("{d}; it moves with the day on which it is live", d=When(review))),
    )


def _weeks_if_live(plan: Plan, live: date) -> str:
    first = first_whole_week(live)
    span = span_words(first, first + timedelta(weeks=plan.weeks, days=-1))
    return f"{spelt(plan.weeks, 'whole week')}, {span}, if it is live by then"


def dates(round_: Round) -> tuple[Appointment, ...]:
    """Every date of the commitment as calendar entries, with uids that stay when a date moves."""
    entries: list[Appointment] = []
    for plan_id, choice in round_.choices.items():
        title = round_.plans[plan_id].title
        for action in choice.actions:
            uid, what = f"{round_.id}-{plan_id}-{action.id}", f"Due: {action.text[:80]}"
            entries.append(Appointment(uid, what, f"First week of {title}", action.due, alarm_minutes=60))
        if choice.review is not None:
            uid, what = f"{round_.id}-{plan_id}-review", f"Review: {title}"
            span = choice.review, choice.review + REVIEW_TAKES
            held = Appointment(uid, what, round_.settings.question, *span, alarm_minutes=A_DAY)
            entries.append(replace(held, attendees=_holders(round_, choice)))
    return (*entries, *next_round(round_))


def _holders(round_: Round, choice: Choice) -> tuple[str, ...]:
    """Names of those who hold the review."""
    roles = round_.roles
    people = (choice.owner, roles.acting(Role.DECISION_MAKER), roles.acting(Role.FACILITATOR))
    return tuple(round_.name_of(member) for member in dict.fromkeys(m for m in people if m is not None))


def next_round(round_: Round) -> tuple[Appointment, ...]:
    """The date of the next round, if there is one yet."""
    if round_.next_round is None:
        return ()
    uid, question = f"{round_.id}-next", round_.settings.question
    return (Appointment(uid, "Next round", question, round_.next_round, alarm_minutes=A_DAY),)


def calendar_of_round(round_: Round) -> CalendarFile:
    """The deadlines that the channel was told, as a file."""
    return CalendarFile("round", f"Deadlines of {round_.name}", deadlines(round_))


def deadlines_off(round_: Round) -> CalendarFile:
    """The deadlines of a round that was cancelled: the entries that were handed out are taken back."""
    sequence = round_.dates_told_times
    off = tuple(replace(d, cancelled=True, sequence=sequence, alarm_minutes=None) for d in deadlines(round_))
    return CalendarFile("round", f"Deadlines of {round_.name}", off)


def deadlines(round_: Round) -> tuple[Appointment, ...]:
    """One entry a step; told anew, each has the same uid and a higher sequence. What is over rings no bell."""
    over = list(Step).index(round_.step)
    return tuple(
        Appointment(
            f"{round_.id}-{title(step)}",
            f"{round_.name}: {title(step)} closes",
            round_.settings.question,
            at,
            sequence=round_.dates_told_times - 1,
            alarm_minutes=60 if list(Step).index(step) >= over and step not in round_.passed else None,
            cancelled=step in round_.passed,
        )
        for step, at in round_.dates_told.items()
    )


def actions_again(round_: Round, plan: PlanId) -> Button:
    return Button("Change …", "actions.write", about(round_, plan))


def live_understood(round_: Round, plan: PlanId) -> Message:
    """A planned day as it was understood, and what follows from it."""
    choice = round_.choices[plan]
    assert choice.live is not None and choice.review is not None
    words = line(
        "“{t}” should be live on {d}; I ask you then. It runs {w}. Review: {r}. Not what you meant?",
        t=theirs(round_.plans[plan].title, 80),
        d=short_day(choice.live),
        w=_weeks_if_live(round_.plans[plan], choice.live),
        r=When(choice.review),
    )
    return told(words, offer(live_again(round_, plan)))


def review_follows(round_: Round, plan: PlanId) -> Message:
    """To whoever typed its date into a form of an earlier release."""
    words = line("The review follows from the day on which the trial is live; say that day. Nothing was changed.")
    return told(words, offer(live_again(round_, plan)))


def live_again(round_: Round, plan: PlanId) -> Button:
    return Button("Change …", "live.date", about(round_, plan))


def next_round_again(round_: Round) -> Button:
    return Button("Change …", "nextround.date", about(round_))
