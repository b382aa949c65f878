"""What is said about roles: who has which, who is asked to take one, what a round needs of whom when it rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from coldframe.domain.commands import BOT
from coldframe.domain.names import RUNNING, HandOverReason, MemberId, OfferEnd, Role, Step
from coldframe.domain.people.seats import deputy_ready
from coldframe.domain.round import ballots, roles, rules
from coldframe.domain.state import GONE, RoleOffer, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Facts, Field, Form, Line, Message, Option, When, line
from coldframe.message.saying import offer, paragraph, said, small, told
from coldframe.speech import wanting_words
from coldframe.speech.names import about, lower, title, who

DUTIES = {
    Role.FACILITATOR: "You join duplicates, word the questions, and close a step or give it more time.",
    Role.DECISION_MAKER: "You pick the lever, and settle the commitment with the facilitator.",
}


def _name(round_: Round) -> Line:
    return (theirs(round_.name, 60),)


def _acting(round_: Round, role: Role) -> Line:
    return line("{w}", w=who(round_, round_.roles.acting(role)))


# --- who has which --------------------------------------------------------------------------------------------------


def overview(round_: Round, me: MemberId) -> Message:
    """Who has which role, and what this person can do about it."""
    rows = tuple((role.value.capitalize(), _row(round_, role)) for role in Role)
    words = line("Roles in *{name}*.", name=_name(round_))
    found = buttons(round_, me)
    blocks: list[Block] = [Facts(rows)]
    return told(words, *blocks, *((offer(*found),) if found else ()))


def overviews(rounds: Sequence[Round], me: MemberId) -> Message:
    """The same for all rounds of this person."""
    first, *others = (overview(round_, me) for round_ in rounds)
    return replace(first, blocks=(*first.blocks, *(block for other in others for block in other.blocks)))


def _row(round_: Round, role: Role) -> Line:
    words = _acting(round_, role)
    deputy, acting = round_.roles.deputy(role), round_.roles.acting(role)
    if acting != round_.roles.holder(role):
        words += line(", as deputy of {h}", h=who(round_, round_.roles.holder(role)))
    elif deputy is not None and deputy_ready(round_, role):
        words += line(", deputy {d}", d=who(round_, deputy))
    asked = round_.role_offer(role)
    if asked is not None:
        words += line("; {to} is asked, until {until}", to=who(round_, asked.to), until=When(asked.until))
    return words


def buttons(round_: Round, me: MemberId) -> tuple[Button, ...]:
    """What this person can do about the roles."""
    if round_.step not in (Step.SETUP, *RUNNING) or me not in round_.active():
        return ()
    return tuple(button for role in Role for button in _of_role(round_, role, me))


def _of_role(round_: Round, role: Role, me: MemberId) -> list[Button]:
    acting, holder = round_.roles.acting(role), round_.roles.holder(role)
    found: list[Button] = []
    if me == acting and round_.role_offer(role) is not None:
        found.append(Button(f"Stay {role}", "role.keep", about(round_, role)))
    if me == acting:
        found.append(_pass_on(round_, role))
        if not deputy_ready(round_, role):
            found.append(name_a_deputy(round_, role))
    elif me == holder:
        found.append(Button(f"Be {role} again", "role.back", about(round_, role)))
    elif roles.is_open(round_, role):
        found.append(take_over(round_, role))
    elif role is Role.DECISION_MAKER and round_.is_facilitator(me) and roles.may_be_replaced(round_):
        found.append(replaced(round_))
    return found


def _pass_on(round_: Round, role: Role) -> Button:
    return Button(f"Hand over: {role} …", "role.offer", about(round_, role), says=f"Pass on the role of {role}")


def replaced(round_: Round) -> Button:
    return Button("Somebody else decides …", "role.offer", about(round_, Role.DECISION_MAKER))


def name_a_deputy(round_: Round, role: Role) -> Button:
    return Button(f"Deputy of the {role} …", "role.deputy", about(round_, role))


def take_over(round_: Round, role: Role) -> Button:
    return Button(f"Take over as {role}", "role.take", about(round_, role), "primary")


def choose(round_: Round, role: Role, me: MemberId) -> Form:
    """Whom to ask; who looks for somebody in another's place may take it on themselves."""
    acting = round_.roles.acting(role)
    hint = f"They are asked in private; until they say yes, {round_.name_of(acting)[:40]} stays {role}."
    return _form(round_, role, "role.offer", f"Who could be {role}?", hint)


def deputy(round_: Round, role: Role) -> Form:
    hint = "They hear of it. They stand in only when it is needed."
    return _form(round_, role, "role.deputy", f"Deputy of the {role}", hint)


def _form(round_: Round, role: Role, action: str, heading: str, hint: str) -> Form:
    others = [m for m in round_.active() if m != round_.roles.acting(role)] or round_.active()
    people = tuple(Option(m, theirs(round_.name_of(m), 75).text) for m in others)
    field = Field("member", "Who?", "choice", options=people, hint=hint)
    return Form(heading, action, about(round_, role), (field,), submit="Ask" if action == "role.offer" else "Name")


# --- an offer -------------------------------------------------------------------------------------------------------


def offered(round_: Round, asked: RoleOffer) -> Message:
    """To whoever is asked: by whom, what it means, until when it waits."""
    role, acting = asked.role, round_.roles.acting(asked.role)
    if asked.by == BOT:
        words = line("Welcome back. You were {role} of *{name}*; {a} is now. Do you want it back?",
                     role=role.value, name=_name(round_), a=who(round_, acting))  # fmt: skip
    elif asked.by == acting:
        words = line("{b} asks you to be {role} of *{name}* from now on.",
                     b=who(round_, asked.by), role=role.value, name=_name(round_))  # fmt: skip
    else:
        words = line("{b} asks you to be {role} of *{name}* from now on, in place of {a}.",
                     b=who(round_, asked.by), role=role.value, name=_name(round_), a=who(round_, acting))  # fmt: skip
    yes = Button(f"Yes, I'm {role}", "role.yes", about(round_, role), "primary")
    no = Button("No", "role.no", about(round_, role), says=f"No, I do not want to be {role}")
    until = line("Please answer by {u}. Without a yes {a} stays {role}.",
                 u=When(asked.until), a=who(round_, acting), role=role.value)  # fmt: skip
    return told(words, paragraph(DUTIES[role]), offer(yes, no), small(until))


def asked_them(round_: Round, asked: RoleOffer) -> Message:
    """To whoever asked."""
    words = line(
        "I've asked {to} to be {role} of *{name}*, and they have until {u}. Without a yes {a} stays {role}.",
        to=who(round_, asked.to), role=asked.role.value, name=_name(round_), u=When(asked.until),
        a=_acting(round_, asked.role),
    )  # fmt: skip
    return told(words, offer(Button("Take that back", "role.keep", about(round_, asked.role))))


def offer_over(round_: Round, role: Role) -> Message:
    """In the place of an offer that is answered or stands no more, for who was asked and who asked alike."""
    return said("{a} is {role} of *{name}*.", a=_acting(round_, role), role=role.value, name=_name(round_))


NO_YES = {
    OfferEnd.DECLINED: "{to} would rather not be {role} of *{name}*. {a} stays {role}.",
    OfferEnd.LAPSED: "The time for {to} to become {role} of *{name}* is over without a yes. {a} stays {role}.",
}


def no_yes(round_: Round, asked: RoleOffer, how: OfferEnd) -> Message:
    """To whoever asked: no, or no answer in time."""
    words = line(NO_YES[how], to=who(round_, asked.to), role=asked.role.value, name=_name(round_),
                 a=_acting(round_, asked.role))  # fmt: skip
    again = Button("Ask somebody else …", "role.offer", about(round_, asked.role))
    return told(words, offer(again))


PASSED = {
    HandOverReason.ASKED: "{m} is {role} of *{name}* from now on, in place of {b}.",
    HandOverReason.RETURNED: "{m} is back, and {role} of *{name}* again.",
    HandOverReason.TAKEN: "{m} has taken over as {role} of *{name}*.",
}


def passed(round_: Round, role: Role, before: MemberId, why: HandOverReason) -> Message:
    """To the channel, in a line."""
    member = who(round_, round_.roles.acting(role), notify=True)
    words = line(PASSED[why], m=member, role=role.value, name=_name(round_), b=theirs(round_.name_of(before), 40))
    return told(words + weight_stays(round_, role))


def handed_over(round_: Round, role: Role, to_deputy: bool, why: HandOverReason) -> Message:
    acting = who(round_, round_.roles.acting(role), notify=True)
    because = wanting_words.not_done_in_time(round_) if why is HandOverReason.DEADLINE else ""
    template = "{who} acts as {role} from now on{because}." if to_deputy else "{who} is {role} again."
    words = line(template, who=acting, role=role.value, because=because)
    return told(words + weight_stays(round_, role))


def role_filled(round_: Round, role: Role) -> Message:
    """Holder and deputy of a role have left: who has it now, and what follows."""
    words = line(
        "{who} is {role} from now on, since nobody else who had that role is still here. What this step needs from "
        "the {role} comes to {who} in private.",
        who=who(round_, round_.roles.acting(role), notify=True),
        role=role.value,
    )
    return told(words + weight_stays(round_, role))


def weight_stays(round_: Round, role: Role) -> Line:
    """The weighted votes of an open ballot are not the new decision-maker's."""
    chief = ballots.weighted(round_)
    if role is not Role.DECISION_MAKER or round_.step is not Step.BALLOT or round_.is_decision_maker(chief):
        return ()
    return line(
        " In the ballot that is open it is still {c} whose votes weigh more.", c=theirs(round_.name_of(chief), 40)
    )


def deputy_named(round_: Round, role: Role, by: MemberId) -> Message:
    """To the deputy."""
    return said(
        "{b} named you as deputy of the {role} in *{name}*: you stand in when {a} can't. Nothing to do yet.",
        b=who(round_, by), role=role.value, name=_name(round_), a=_acting(round_, role),
    )  # fmt: skip


def named(round_: Round, role: Role) -> Message:
    deputy_ = round_.roles.deputy(role)
    assert deputy_ is not None
    return said("{d} is deputy of the {role} now, and knows it.", d=who(round_, deputy_), role=role.value)


def desk_moved(round_: Round, role: Role) -> Message:
    """In the place of an earlier holder's desk."""
    return said(
        "{name}: *{step}* is with {a} now.", name=_name(round_), step=title(round_.step), a=_acting(round_, role)
    )


def fell_to_you(round_: Round, role: Role) -> Message:
    """To somebody who has a role because nobody else of those who had it is there."""
    words = line(
        "You're {role} of *{name}* now, since nobody else who had that role is still here. {d}",
        role=role.value, name=_name(round_), d=DUTIES[role],
    )  # fmt: skip
    return told(words, offer(_pass_on(round_, role), name_a_deputy(round_, role)))


# --- somebody has left ----------------------------------------------------------------------------------------------


def departed(before: Round, round_: Round, member: MemberId) -> Message:
    """To the facilitator, in private: who has left, what it changes, what they can do."""
    left = round_.name_of(member)
    words = line(
        "{w} has left *{name}*: {n} of {all} remain{q}.{more}",
        w=theirs("Somebody" if left == GONE else left, 40), name=_name(round_), n=len(round_.active()),
        all=len(round_.seats), q=_quorum_now(before, round_), more=_what_else(before, round_, member),
    )  # fmt: skip
    found = [name_a_deputy(round_, role) for role in _lost_deputy(before, round_, member)]
    found += [
        Button(f"Ask somebody to own {theirs(round_.plans[plan].title, 40).text} …", "owner.ask", about(round_, plan))
        for plan, choice in before.choices.items()
        if choice.owner == member
    ]
    add = small("`/coldframe add` and a name puts somebody of the channel on the roster.")
    return told(words, *((offer(*found),) if found else ()), add)


def _quorum_now(before: Round, round_: Round) -> str:
    if round_.step not in RUNNING or rules.RULES[round_.step].quorum is None:
        return ""
    now = rules.quorum(round_)
    return f", the quorum is {'now' if now != rules.quorum(before) else 'still'} {now}"


def _lost_deputy(before: Round, round_: Round, member: MemberId) -> list[Role]:
    return [role for role in Role if before.roles.deputy(role) == member and round_.roles.acting(role) != member
            and not deputy_ready(round_, role)]  # fmt: skip


def _what_else(before: Round, round_: Round, member: MemberId) -> Line:
    words: Line = ()
    for role in Role:
        if before.roles.acting(role) == member:
            words += line(" {a} is {role} now.", a=_acting(round_, role), role=role.value)
    for role in _lost_deputy(before, round_, member):
        words += line(" The {role} has no deputy any more.", role=role.value)
    for plan, choice in before.choices.items():
        if choice.owner == member:
            words += line(" “{t}” has no owner any more.", t=theirs(round_.plans[plan].title, 80))
    return words


# --- a round that rests, or is not started --------------------------------------------------------------------------


def rests(round_: Round, until: datetime) -> Message:
    """To the facilitator: what can follow. `until`: from when on others may take over."""
    assert round_.paused is not None
    words = line(
        "*{name}* rests in the {step} step: {why}. What should happen?",
        name=_name(round_), step=lower(round_.step), why=wanting_words.why_rests(round_),
    )  # fmt: skip
    go_on = () if round_.paused.channel_lost else (Button("Go on", "round.resume", about(round_), "primary"),)
    replaces = (replaced(round_),) if roles.may_be_replaced(round_) and round_.step is not Step.COMMITMENT else ()
    cancel = Button("Cancel …", "round.cancel", about(round_), "danger")
    pass_on = _pass_on(round_, Role.FACILITATOR)
    aside = small("If it still rests {u}, others of the round may take over as facilitator.", u=When(until))
    if not go_on:
        words += line(" Invite me to a channel and type `/coldframe resume` there to go on with it.")
    return told(words, offer(*go_on, *replaces, pass_on, cancel), aside)


def undecided(round_: Round) -> Message:
    """To the facilitator: the decision has not come, and nobody stands in."""
    assert round_.progress.due is not None
    words = line(
        " There is no deputy. {a} has until {due}; shall somebody else decide?",
        a=_acting(round_, Role.DECISION_MAKER), due=When(round_.progress.due),
    )  # fmt: skip
    words = wanting_words.undecided(round_) + words
    return told(words, offer(replaced(round_)), small("Only you see this. Without an answer the round then rests."))


def can_be_taken(round_: Round) -> Message:
    """In private to those next to it, later in the channel: who takes over can go on."""
    waits = "waits for its start" if round_.step is Step.SETUP else "rests"
    words = line(
        "*{name}* still {waits}, and its facilitator hasn't moved. Whoever takes over as facilitator can go on with "
        "it, or end it.",
        name=_name(round_), waits=waits,
    )  # fmt: skip
    return told(words, offer(take_over(round_, Role.FACILITATOR)))


def moves(round_: Round) -> Message:
    """In the place of what asked how the round goes on."""
    if round_.step is Step.CANCELLED:
        return said("*{name}* has ended.", name=_name(round_))
    if round_.paused is None and round_.step is not Step.SETUP:
        return said("*{name}* goes on with the {step} step.", name=_name(round_), step=lower(round_.step))
    return offer_over(round_, Role.FACILITATOR)


def not_started(round_: Round, ends: datetime) -> Message:
    """To the facilitator of a round that stands in setup."""
    words = line("*{name}* is set up and hasn't started. Without a start I take it off {d}.", name=_name(round_),
                 d=When(ends, "day"))  # fmt: skip
    return told(
        words,
        offer(
            Button("Start now", "round.start", about(round_), "primary"),
            Button("Start on a date …", "round.start_on", about(round_)),
            Button("Cancel …", "round.cancel", about(round_), "danger"),
        ),
    )


def expired(round_: Round) -> Message:
    return said(
        "*{name}* was set up and never started, so I've taken it off. `/coldframe new` in the channel begins anew.",
        name=_name(round_),
    )
