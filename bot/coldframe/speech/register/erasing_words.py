"""A team exported and erased: what would go, who has to say yes, until when anybody can say no."""

from __future__ import annotations

from coldframe.domain.people.erasing import Erasing
from coldframe.message.nodes import Block, Button, Form, Line, Message, When, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import offer, paragraph, said, told
from coldframe.speech.names import count

GOES = (
    "All rounds, trials, numbers, verdicts and the register of this channel, what I have posted about them, and what I "
    "hold about whoever is in no other team. A round under way ends with it. It can't be undone."
)


def page(team: str, rounds: int, trials: int, erasing: Erasing | None) -> Message:
    """To the facilitator, in private."""
    words = line(
        "This team: {r} and {t}. You can have all that the team may know as files; or have everything erased, for "
        "which another of you has to say yes as well.",
        r=count(rounds, "round"),
        t=count(trials, "trial"),
    )
    export, erase = Button("Export the team …", "team.export", team), Button("Erase the team …", "team.erase", team)
    blocks: list[Block] = [offer(export, *(() if erasing is not None else (erase,)))]
    return told(words, *([paragraph(_state(erasing))] if erasing is not None else []), *blocks)


def _state(erasing: Erasing) -> Line:
    if erasing.at is None:
        return line("Erasing is asked for, and waits for another yes until {at}.", at=When(erasing.until))
    return line("Two of you have said yes: everything is erased {at}, unless somebody says no.", at=When(erasing.at))


def confirm(team: str) -> Form:
    intro = line(
        "{goes} I ask in the channel: it happens only if another of you says yes within a week, three days after that, "
        "and if nobody says no.",
        goes=GOES,
    )
    return Form("Erase the team", "team.erase", team, (), submit="Ask the team", intro=intro)


def asked(erasing: Erasing, team: str, who: Line) -> Message:
    """In the channel: to everybody, with both answers."""
    words = line("{who} asks to erase all that I keep of this team.", who=who)
    how = line(
        "{goes} It happens only if another of you says yes by {until}. After that there are three days to export what "
        "you need, or to say no: one no is enough.",
        goes=GOES,
        until=When(erasing.until),
    )
    value = ButtonValue(team).pack()
    yes = Button("Yes, erase it", "team.yes", value, "danger")
    return told(words, paragraph(how), offer(Button("No, keep it", "team.no", value, "primary"), yes))


def agreed(erasing: Erasing, team: str, who: Line) -> Message:
    """The same message, once two have said yes."""
    assert erasing.at is not None
    words = line("{who} want all that I keep of this team erased: it happens {at}.", who=who, at=When(erasing.at))
    how = line("{goes} Until then one no is enough to keep it.", goes=GOES)
    return told(words, paragraph(how), offer(Button("No, keep it", "team.no", ButtonValue(team).pack(), "primary")))


def kept() -> Message:
    return said("Somebody said no: nothing is erased, and the team goes on as before.")


def nobody_else() -> Message:
    return said("Nobody else said yes in time: nothing is erased.")


def gone() -> Message:
    return said("Somebody who said yes has left: nothing is erased. It can be asked again.")


def erased() -> Message:
    """The last word in the channel."""
    return said("All that I kept of this team is erased, as agreed. `/coldframe new` starts from nothing.")


def erased_by_operator() -> Message:
    return said(
        "Whoever runs me has erased all that I kept of this team; ask them why. `/coldframe new` starts from nothing."
    )


def not_a_team() -> Message:
    return said("There is no team of yours here that I keep anything of.")
