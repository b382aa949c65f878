"""The channel's card of each step: one card a step, kept up to date in place."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from coldframe.domain.names import MemberId, MoreTime, PauseReason, Role, Step
from coldframe.domain.people.seats import power_share
from coldframe.domain.round import counter, rules
from coldframe.domain.round.moves import A_BREAK
from coldframe.domain.state import Round
from coldframe.message.harmless import signed, theirs, written
from coldframe.message.nodes import Block, Button, Buttons, Facts, Items, Line, Message, When, line
from coldframe.message.saying import heading, offer, paragraph, said, small
from coldframe.speech import wanting_words
from coldframe.speech.names import NO_REASON, about, are_in, choosers, count, in_words, lower, spelt, title, who
from coldframe.speech.round import lever_words
from coldframe.speech.round.setup_words import weight_words, windows, windows_chosen
from coldframe.speech.steps import WORDS

WHAT_NOW = Button("What now?", "now.show", "", says="What is open for me, shown to me alone")


def _filled(round_: Round, template: str) -> Line:
    settings = round_.settings
    return line(
        template,
        chief=who(round_, round_.roles.acting(Role.DECISION_MAKER)),
        facilitator=who(round_, round_.roles.acting(Role.FACILITATOR)),
        choosers=choosers(round_),
        dots=spelt(settings.dots, "dot"),
        votes=spelt(settings.plan_votes, "vote"),
        trials=spelt(settings.trials_at_once, "trial"),
        carry=in_words(settings.carry_on),
    )


def what_is_asked(round_: Round) -> Line:
    """Of whom, in the running step."""
    return _filled(round_, WORDS[round_.step].asks)


def what_follows(round_: Round, step: Step) -> Line:
    """What happens when the step closes."""
    return _filled(round_, WORDS[step].then)


def step_card(round_: Round) -> Message:
    """What is asked, of whom, until when, how many are in, what happens then."""
    step = round_.step
    progress = round_.progress
    blocks: list[Block] = [
        heading("{name}: {step}", name=theirs(round_.name, 60), step=title(step)),
        paragraph(written(round_.settings.question, 300)),
        paragraph(what_is_asked(round_)),
    ]
    if progress.due is not None:
        blocks.append(Facts(_state_rows(round_)))
    blocks.append(small(what_follows(round_, step)))
    buttons = _buttons(round_)
    if buttons:
        blocks.append(offer(*buttons))
    return Message(_summary(round_), tuple(blocks))


def standing(round_: Round) -> tuple[object, ...]:
    """All that a step's card tells and that changes by what people do in private."""
    progress, expected = round_.progress, len(rules.expected(round_))
    told = (progress.due, progress.opens, progress.settles_at, progress.extensions)
    return (*told, round_.paused, round_.roles, round_.seats, counter.told_in(round_), expected)


def _summary(round_: Round) -> Line:
    start = line("{name}, {step}: ", name=theirs(round_.name, 60), step=title(round_.step).lower())
    ask = what_is_asked(round_)
    due = round_.progress.due
    return start + ask + (line(" Until {due}.", due=When(due)) if due is not None else ())


def _state_rows(round_: Round) -> tuple[tuple[str, Line], ...]:
    progress = round_.progress
    assert progress.due is not None
    rows = [("Until", line("{due}", due=When(progress.due)))] if round_.paused is None else []
    if progress.opens is not None and rules.RULES[round_.step].read_hours:
        rows.insert(0, ("Voting, once read, from", line("{opens}", opens=When(progress.opens))))
    expected = len(rules.expected(round_))
    if expected > 1:
        rows.append(("Answers", line("{n}", n=are_in(counter.told_in(round_), expected))))
    if round_.paused is not None:
        rows.append(("Rests", wanting_words.why_rests(round_)))
    elif progress.settles_at is not None and counter.all_told(round_):
        rows.append(("Closing", line("everybody is in; it closes at {at}", at=When(progress.settles_at, "hour"))))
    elif progress.extensions:
        rows.append(("Extended", line("{n}", n=count(progress.extensions, "time"))))
    return tuple(rows)


def resting(round_: Round, message: Message) -> Message:
    """The same while the round rests: nothing to press, and why."""
    blocks = tuple(block for block in message.blocks if not isinstance(block, Buttons))
    if round_.paused is None or blocks == message.blocks:
        return message
    why = small("This round rests: {why}. Nothing is lost; it goes on from here.", why=wanting_words.why_rests(round_))
    return replace(message, blocks=(*blocks, why))


def _buttons(round_: Round) -> tuple[Button, ...]:
    if round_.paused is not None:
        return ()
    live = (Button("5 more minutes", "step.extend", ""),) if round_.settings.pace == "live" else ()
    own = (*WORDS[round_.step].card, *live)
    return (*(replace(button, value=about(round_)) for button in own), WHAT_NOW)


def over(round_: Round, step: Step, member: MemberId | None = None) -> Message:
    """The one line that is left of a step's card, or of what this person had for it."""
    name = theirs(round_.name, 60)
    if member is not None and member not in round_.active():
        return said("You're out of {name}.", name=name)
    if round_.step is Step.CANCELLED:
        return said("{name} was cancelled.", name=name)
    return said("{name}: {became}.", name=name, became=WORDS[step].became if step in WORDS else "the round has started")


def round_opened(round_: Round, calendar: tuple[tuple[str, Line], ...]) -> Message:
    """The first post of a round: the question, who does what, the calendar."""
    settings = round_.settings
    roles = round_.roles
    head = line("A new round starts: {question}", question=theirs(settings.question, 300))
    rows: tuple[tuple[str, Line], ...] = (
        ("Facilitator", _with_deputy(round_, roles.facilitator, roles.facilitator_deputy)),
        ("Decision-maker", _with_deputy(round_, roles.decision_maker, roles.decision_deputy)),
        ("Taking part", line("{n}", n=count(len(round_.active()), "person", "people"))),
        ("Votes", _votes_words(round_)),
    )
    if windows(settings):
        rows += (("Time for each step", line("{w}", w=windows_chosen(settings))),)
    return Message(
        head,
        (
            heading("{name}", name=theirs(round_.name, 60)),
            paragraph(head),
            Facts(rows),
            paragraph(lever_words.what_a_round_is(round_)),
            paragraph(lever_words.what_comes_of_it(round_)),
            paragraph("*The levers*, and what they mean here:"),
            Items(lever_words.meanings(settings)),
            paragraph("*Calendar*: until when each step is open at the latest; in brackets, if everybody is prompt."),
            Items(tuple(line("{step}: ", step=step) + words for step, words in calendar)),
            small(
                "A step ends early when everybody is done, and the later ones then come sooner. Type `/coldframe` at "
                "any time to see what you can do."
            ),
        ),
        stays=True,
    )


def _with_deputy(round_: Round, person: str, deputy: str | None) -> Line:
    if deputy is None:
        return line("{who}", who=who(round_, person))
    return line("{who}, deputy {deputy}", who=who(round_, person), deputy=who(round_, deputy))


def _votes_words(round_: Round) -> Line:
    settings = round_.settings
    share = power_share(len(round_.active()), settings.weight)
    return line(
        "{dots} each on forces, {votes} each on plans; each plan vote of the decision-maker counts {weight}, "
        "{share}% of the voting power",
        dots=count(settings.dots, "dot"),
        votes=count(settings.plan_votes, "vote"),
        weight=weight_words(settings),
        share=round(100 * share),
    )


def extended(round_: Round, why: MoreTime) -> Message:
    """Told to the channel when a window grew."""
    assert round_.progress.due is not None
    due = When(round_.progress.due)
    reason = wanting_words.why_longer(round_, why)
    words = "I've kept the {step} step open until {due}: {reason}."
    return said(words, step=lower(round_.step), due=due, reason=reason)


def paused(round_: Round, reason: PauseReason) -> Message:
    if reason is PauseReason.BREAK and round_.rests_since is not None:
        return _break(round_, round_.rests_since)
    return said(
        "{name} rests: {reason}. Nothing is lost, and I still take what you send me. The facilitator goes on with it "
        "by `/coldframe resume`.",
        name=theirs(round_.name, 60),
        reason=wanting_words.rested(round_, reason),
    )


def _break(round_: Round, since: datetime) -> Message:
    return said(
        "{name}: a break until {until}. Then it goes on by itself, and the step gets back what the break took. {f} "
        "can go on sooner by `/coldframe resume`.",
        name=theirs(round_.name, 60),
        until=When(since + A_BREAK, "hour"),
        f=who(round_, round_.roles.acting(Role.FACILITATOR)),
    )


def resumed(round_: Round) -> Message:
    return said("{name} goes on with the {step} step.", name=theirs(round_.name, 60), step=lower(round_.step))


def cancelled(round_: Round, reason: str) -> Message:
    next_ = line(" The next round starts on {d}.", d=When(round_.next_round, "day")) if round_.next_round else ()
    return said(
        "{name} ends here without a commitment: {reason}. What was revealed stays for a later round.{next_}",
        name=theirs(round_.name, 60),
        reason=signed(reason or NO_REASON, round_.roles.acting(Role.FACILITATOR), 200),
        next_=next_,
    )
