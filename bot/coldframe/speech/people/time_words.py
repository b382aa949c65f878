"""What is said about time: who would hold a step up, which dates moved, and a date that was understood."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coldframe.domain.names import MemberId, Role
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button, Items, Line, Message, When, line
from coldframe.message.saying import offer, said, small, told
from coldframe.speech.names import about, lower, spelt, who
from coldframe.timing.dates import Reading


def hold_up(round_: Round, member: MemberId, ready: datetime | None, role: Role | None) -> Message:
    """To the facilitator: the step does not wait for this member unless somebody says so. `ready` None: not this
    year; `role`: what their deputy could take over."""
    due = round_.progress.due
    assert due is not None
    when: Line = line("only by {at}", at=When(ready)) if ready is not None else line("not within a year")
    words = line(
        "The {step} step in {round} closes {due}. {who} will have had the time for it {when}, so it doesn't wait for "
        "them. What should happen?",
        step=lower(round_.step),
        round=theirs(round_.name, 60),
        due=When(due),
        who=who(round_, member),
        when=when,
    )
    key = about(round_, round_.step.value, member)
    buttons = [Button("Count as away", "holdup.away", key)]
    if ready is not None:
        buttons.insert(0, Button("Wait", "holdup.wait", key))
    if role is not None:
        buttons.append(Button(f"Deputy acts as {role.value}", "holdup.deputy", key))
    aside = small("Without an answer the step closes as planned. Only you see this.")
    return told(words, offer(*buttons), aside)


SETTLED = {
    "wait": "The {step} step waits for {who}. It closes {due}.",
    "away": "{who} counts as away, and nobody waits for them. The {step} step closes {due}.",
    "deputy": "The deputy acts for {who}. The {step} step closes {due}.",
}


def hold_up_settled(round_: Round, member: MemberId, what: str) -> Message:
    """What the facilitator chose, in the place of the question."""
    due = round_.progress.due
    assert due is not None
    return said(SETTLED[what], step=lower(round_.step), who=who(round_, member), due=When(due))


def dates_moved(round_: Round, was: datetime, now: datetime) -> Message:
    """The date that binds everybody now; those behind it moved along."""
    return said(
        "The {step} step of {round} now closes by {now}, not {was}. The calendar above is up to date; the file updates "
        "yours.",
        round=theirs(round_.name, 60),
        step=lower(round_.step),
        now=When(now),
        was=When(was),
    )


def own_deadline_moved(round_: Round, was: datetime, now: datetime) -> Line:
    """Until when this person has time now."""
    words = "Your time for the {step} step in {round} now ends {now}, not {was}."
    return line(words, step=lower(round_.step), round=theirs(round_.name, 60), now=When(now), was=When(was))


def zone_followed(hours: str, moved: Line) -> Message:
    """To somebody whose chat profile names another zone and who never said when they work."""
    words = line("Your chat profile shows another time zone. I have your hours as *{h}* now. Right? ", h=hours) + moved
    buttons = (
        Button("That's right", "hours.confirm", "", "primary"),
        Button("Change …", "hours.write", "", says="Change my working hours and time zone"),
    )
    return told(words, offer(*buttons))


def zone_unknown(zone: str, nearest: Sequence[str]) -> Line:
    """The platform reports a zone that the zone database lacks; `zone` empty: none at all."""
    known = line("“{z}”, which I don't know", z=theirs(zone, 60)) if zone else line("not set")
    meant = line(" Did you mean {n}?", n=" or ".join(nearest)) if nearest else ()
    return line("The time zone in your chat profile is {known}.", known=known) + meant


def zone_doubted(zone: str, nearest: Sequence[str], confirmed: bool) -> Message:
    """A new zone in the profile that cannot be used: what counts instead, and how to say it."""
    instead = "Your hours stay as you told me." if confirmed else "I count your hours in UTC until you tell me yours."
    words = zone_unknown(zone, nearest) + line(" {instead}", instead=instead)
    return told(words, offer(Button("My hours …", "hours.write", "")))


def hours_noted(hours: str, moved: Sequence[Line]) -> Message:
    """Working time as it was understood, and the deadlines that moved by it."""
    words = line("Noted: you work {hours}.", hours=hours)
    for each in moved:
        words += line(" ") + each
    return told(words)


def away_until(back: Reading) -> Message:
    """An absence, said back."""
    words = line("You're away until {back}", back=When(back.at)) + line(
        "{besides}. Until then I ask you nothing and nobody waits for you.", besides=back.besides
    )
    return told(words, offer(set_again("me.away", "")))


def latest_and_prompt(latest: datetime, if_prompt: datetime, now: datetime) -> Line:
    """A step's line in the calendar; what is over already, or no sooner, is left out."""
    if not now < if_prompt < latest:
        return (When(latest),)
    return line("{latest} ({prompt})", latest=When(latest), prompt=When(if_prompt))


ROUND_STARTS = "the start of the round"
NEXT_ROUND = "the next round"
REVIEW = "the review"
ACTION = "the action"


def _understood(day: Reading) -> Line:
    """A typed date as it was read, in the reader's own time."""
    return line("{at}{besides}", at=When(day.at), besides=day.besides)


def _by(day: Reading) -> Line:
    """The day alone where no hour was said."""
    return line("{at}{besides}", at=When(day.at, "moment" if day.timed else "day"), besides=day.besides)


def date_understood(what: str, day: Reading, again: Button) -> Message:
    """A typed date, said back; `again` sets it anew."""
    return told(line("I've set {what} for {day}.", what=what, day=_understood(day)), offer(again))


def next_round_on(day: Reading) -> Message:
    """The round has ended with this."""
    return said("The round ends here. The next one starts {day}.", day=_understood(day))


def dates_understood(dates: Sequence[tuple[str, Reading]], again: Button) -> Message:
    """The same for several at once, as (what, date)."""
    items = tuple(line("{what}: {day}", what=theirs(what, 100), day=_by(day)) for what, day in dates)
    return told(line("I've set {n}:", n=spelt(len(dates), "action")), Items(items), offer(again))


def own_feed(address: str, *, renewed: bool = False) -> Message:
    """Where a calendar program finds this person's dates."""
    words = line(
        "Your dates from all rounds and trials, for your calendar program to subscribe to: {address} Keep it to "
        "yourself: whoever has this address can read your dates.",
        address=address,
    )
    if renewed:
        words += line(" The address before it is no longer valid: put this one in its place.")
    again = Button("New address", "calendar.renew", "", confirm="The address that you have now will stop working.")
    return told(words, offer(again), small("Somebody else has it? Make a new one."))


def no_feed() -> Message:
    return said(
        "There is no calendar to subscribe to here, since I have no public address. Every date comes with a file for "
        "your calendar instead."
    )


def hours_confirmed() -> Message:
    return said("Thanks, noted.")


def not_that_day() -> Message:
    return said("That was for the reminders of another day. Today's stay as they are.")


def hours_kept() -> Message:
    return said("All right, your hours stay as they were.")


def zone_refused(problem: str) -> Message:
    return said("{problem}", problem=problem)


def no_more_today() -> Message:
    return said("All right, no more reminders from me today.")


def feed_sent() -> Message:
    """In the channel, when the address went to the person alone."""
    return said("I've sent it to you in our direct messages.")


def set_again(action: str, value: str) -> Button:
    """Below a date as it was understood."""
    return Button("Change …", action, value, says="Set the date again")
