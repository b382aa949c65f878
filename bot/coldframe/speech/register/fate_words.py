"""What was decided and is to be done: each person's one message about it, its forms, and how it stands in a list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from coldframe.domain.fates import OF_A_PLAN, Fate, PlanFate
from coldframe.domain.names import MemberId
from coldframe.domain.state import GONE
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Field, Form, Line, Message, Option, When, Who, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import offer, paragraph, said
from coldframe.speech.names import CALLED, DONE, SUCH_AS, count


class Ask(StrEnum):
    """What somebody is asked about it."""

    OWN = "own"
    AGREE = "agree"
    DONE = "done"
    FIND = "find"
    """Somebody who owns it, of the facilitator."""


@dataclass(frozen=True, slots=True)
class Item:
    ask: Ask
    fate: Fate


Names = Mapping[MemberId, str]


def _who(names: Names, member: MemberId) -> Who:
    return Who(member, theirs(names.get(member, GONE), 40).text)


def _title(fate: Fate) -> Line:
    return written(fate.title, 80)


def _what(fate: Fate) -> Line:
    """`a project, by 12 May, at the web team's board`; of a trial what exactly is done stands behind a colon."""
    words = line("{k}, by {d}", k=CALLED[fate.kind], d=When(fate.due, "day"))
    handed = ", at {w}" if fate.kind in OF_A_PLAN else ": {w}"
    return words + (line(handed, w=theirs(fate.where, 200)) if fate.where else ())


# --- one message to each person -------------------------------------------------------------------------------------


def page(team: str, items: Sequence[Item], names: Names) -> Message:
    """All that this person is asked about what was decided, brought up to date in place."""
    words = [_asked(item, names) for item in items]
    summary = words[0] if len(words) == 1 else line("{n} to see done.", n=count(len(items), "thing"))
    blocks: list[Block] = []
    for item, each in zip(items, words, strict=True):
        blocks += [paragraph(each), offer(*_buttons(team, item))]
    return Message(summary, tuple(blocks))


def _asked(item: Item, names: Names) -> Line:
    fate = item.fate
    match item.ask:
        case Ask.OWN:
            words = "Would you see this done? “{t}”: {w}. It's yours only if you accept."
        case Ask.AGREE:
            words = "“{t}” is {w}. Do you agree, as the decision-maker?"
        case Ask.DONE:
            words = "“{t}”: {w}. Is it done?"
        case Ask.FIND:
            words = "Nobody has taken on “{t}” yet: {w}.{a} Who could?"
    asked = line(" {m} was asked.", m=_who(names, fate.asked)) if fate.asked is not None else ()
    return line(words, t=_title(fate), w=_what(fate), a=asked)


def _buttons(team: str, item: Item) -> tuple[Button, ...]:
    key, title = ButtonValue(team, (item.fate.id,)).pack(), theirs(item.fate.title, 60).text
    match item.ask:
        case Ask.OWN:
            yes = Button("I accept", "todo.accept", key, "primary", says=f"I accept {title}")
            return yes, Button("I decline …", "todo.decline", key, says=f"I decline {title}")
        case Ask.AGREE:
            yes = Button("I agree", "todo.agree", key, "primary", says=f"I agree to scale {title}")
            return yes, Button("Don't scale it …", "todo.refuse", key, says=f"Don't scale {title}")
        case Ask.FIND:
            return (Button("Ask somebody …", "todo.hand_over", key, "primary", says=f"Ask somebody to own {title}"),
                    _give_up(key, title))  # fmt: skip
        case Ask.DONE:
            return own_buttons(team, item.fate, primary=True)


def own_buttons(team: str, fate: Fate, *, primary: bool = False) -> tuple[Button, ...]:
    """What its owner can do at any time."""
    key, title = ButtonValue(team, (fate.id,)).pack(), theirs(fate.title, 60).text
    return (
        Button("Done", "todo.done", key, "primary" if primary else "plain", says=f"Done: {title}"),
        Button("New date …", "todo.move", key, says=f"New date for {title}"),
        Button("Hand over …", "todo.hand_over", key, says=f"Hand over {title}"),
        _give_up(key, title),
    )


def _give_up(key: str, title: str) -> Button:
    return Button("Give it up …", "todo.drop", key, says=f"Give up {title}")


# --- how it stands --------------------------------------------------------------------------------------------------


def standing(fate: Fate, names: Names) -> Line:
    """In a list: what it is, whose, until when, or what became of it."""
    words = line("“{t}”", t=_title(fate)) + line(": ") + state(fate, names)
    return words + (line("; moved {n}", n=count(fate.moved, "time")) if fate.moved and fate.open else ())


def of_plan(title: str, fate: PlanFate) -> Line:
    """The same of a plan that was kept or dropped."""
    words = line("“{t}”: {k}", t=theirs(title, 80), k=CALLED[fate.kind])
    return words + (line(". {r}", r=theirs(fate.reason, 200)) if fate.reason else ())


def called(fate: Fate) -> str:
    """What it is, or that it is done."""
    what = CALLED[fate.kind]
    return what if fate.done is None else DONE.get(fate.kind, f"{what}, done")


def state(fate: Fate, names: Names) -> Line:
    """Without its title."""
    if fate.done is not None:
        return line("{k} {d}", k=called(fate), d=When(fate.done, "day"))
    if fate.ended is not None:
        return line("{k}, given up: {r}", k=CALLED[fate.kind], r=theirs(fate.reason, 200))
    words = line("{k}, by {d}", k=CALLED[fate.kind], d=When(fate.due, "day"))
    if fate.owner is not None:
        words += line(", {m}", m=_who(names, fate.owner))
    elif fate.asked is not None:
        words += line(", {m} was asked", m=_who(names, fate.asked))
    else:
        words += line(", nobody owns it")
    return words + (line(", not agreed yet") if fate.needs_yes else ())


def to_do(item: Item) -> Line:
    """In a list of what somebody owes."""
    words = "{t}: would you see it done" if item.ask is Ask.OWN else "{t}: is it done"
    return line(words, t=_title(item.fate))


def under_way(team: str, found: Sequence[Fate], names: Names, me: MemberId) -> list[Block]:
    """What is to be done, in a list, with what this person can do."""
    if not found:
        return []
    blocks: list[Block] = [paragraph("*Following up*")]
    for fate in found:
        blocks.append(paragraph(standing(fate, names)))
        if fate.owner == me:
            blocks.append(offer(*own_buttons(team, fate)))
    return blocks


def whose(fate: Fate, names: Names) -> str:
    """By name, in a line of the digest."""
    if fate.owner is not None:
        return names.get(fate.owner, GONE)
    return f"{names.get(fate.asked, GONE)} was asked" if fate.asked is not None else "nobody owns it"


# --- forms ----------------------------------------------------------------------------------------------------------


def _about(fate: Fate) -> Line:
    return written(fate.title, 200)


def _people(people: Names, without: MemberId | None) -> tuple[Option, ...]:
    return tuple(Option(m, theirs(name).text) for m, name in people.items() if m != without)


def decline(key: str, fate: Fate, people: Names, me: MemberId) -> Form:
    instead = Field("member", "Who could instead?", "choice", required=False,
                    options=(Option("", "I know nobody"), *_people(people, me)))  # fmt: skip
    return Form("Decline", "todo.decline", key, (instead,), intro=_about(fate))


def hand_over(key: str, fate: Fate, people: Names) -> Form:
    who = Field(
        "member", "Who?", "choice", options=_people(people, fate.owner), hint="It's theirs only if they accept."
    )
    return Form("Ask somebody", "todo.hand_over", key, (who,), intro=_about(fate), submit="Ask")


def move(key: str, fate: Fate) -> Form:
    when = Field("date", "Until when?", most=60, day=True, hint=SUCH_AS)
    return Form("New date", "todo.move", key, (when,), intro=_about(fate))


def drop(key: str, fate: Fate) -> Form:
    why = Field("reason", "Why?", "long", most=500)
    return Form("Give it up", "todo.drop", key, (why,), intro=_about(fate), submit="Give it up")


def refuse(key: str, fate: Fate) -> Form:
    why = Field("reason", "Why not?", "long", most=500, hint="The channel reads it.")
    return Form("Don't scale it", "todo.refuse", key, (why,), intro=_about(fate), submit="Don't scale")


# --- short answers --------------------------------------------------------------------------------------------------


def yours(fate: Fate) -> Message:
    return said("“{t}” is yours. I ask about it on {d}.", t=_title(fate), d=When(fate.due, "day"))


def not_yours(fate: Fate) -> Message:
    return said("Noted: “{t}” isn't yours.", t=_title(fate))


def thanks(fate: Fate) -> Message:
    return said("“{t}” is done, thank you.", t=_title(fate))


def agreed(fate: Fate) -> Message:
    return said("“{t}” is scaled, as decided.", t=_title(fate))


def asked(fate: Fate) -> Message:
    return said("I've asked them about “{t}”. It's theirs only if they accept.", t=_title(fate))


def later(fate: Fate) -> Message:
    return said("“{t}”: I ask again on {d}.", t=_title(fate), d=When(fate.due, "day"))


def given_up(fate: Fate) -> Message:
    return said("“{t}” is given up. The reason stands in the digest.", t=_title(fate))


def nothing_left() -> Message:
    return said("What I asked you here is settled.")


# --- in the channel -------------------------------------------------------------------------------------------------


def refused(fate: Fate, chief: MemberId, names: Names) -> Message:
    words = "{c} doesn't want “{t}” scaled: {r}"
    return said(words, c=_who(names, chief), t=_title(fate), r=theirs(fate.reason, 500))


def scaled(fate: Fate, names: Names) -> Message:
    owner = line(" Thank you, {m}.", m=_who(names, fate.owner)) if fate.owner is not None else ()
    return said("“{t}” is scaled.{o}", t=_title(fate), o=owner)
