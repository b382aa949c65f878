"""A rehearsal: what is said to the one person in it, and what the others say, whom the bot plays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coldframe.domain.names import Side
from coldframe.domain.people.played import is_played
from coldframe.domain.state import Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button, Line, Message, line
from coldframe.message.plain import joined
from coldframe.message.saying import offer, said, told
from coldframe.speech.names import about, lower

NAME = "Rehearsal"
QUESTION = "Where do we lose people who would have stayed?"
TRY_ALONE = Button("Try it alone first", "rehearse.begin", "", says="Try a whole round alone; nobody else hears of it")


def what_it_is(round_: Round) -> Line:
    """In the proposal."""
    return line(
        "A round to try alone: {who} are played by me, and nobody else hears of it. All steps come as in a real one, "
        "in one sitting; you facilitate and decide.",
        who=joined([round_.name_of(member) for member in round_.active() if is_played(member)]),
    )


def in_your_messages() -> Message:
    return said("Look into your messages with me: you rehearse there, where nobody else reads it.")


def held_here() -> Message:
    return said("You rehearse here; the button that starts it stands in your messages with me.")


def runs_already(round_: Round) -> Message:
    words = line("You are in a rehearsal already, at the {s} step.", s=lower(round_.step))
    end = Button("End it …", "round.cancel", about(round_), "danger", says="End the rehearsal")
    return told(words, offer(Button("What now?", "now.show", ""), end))


def is_over(round_: Round) -> Message:
    """After the seal."""
    return told(
        line(
            "That was a whole round. In a real one the trials are now built and run for some weeks, and I ask their "
            "owners for one number a week. All of this rehearsal is deleted tomorrow, or now if you like."
        ),
        offer(Button("Delete it now", "rehearse.end", about(round_), says="Delete the rehearsal now")),
    )


def deleted() -> Message:
    return said("The rehearsal is deleted. `/coldframe rehearse` begins another, `/coldframe new` a real round.")


def somebody_came(name: str) -> Message:
    return said(
        "{name} came into the channel, so I have ended your rehearsal and deleted it. `/coldframe rehearse` begins "
        "another.",
        name=theirs(name, 60),
    )


# --- what the others say ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Precedent:
    """What somebody else did, as one of the others tells it."""

    title: str
    idea: str
    source: str


@dataclass(frozen=True, slots=True)
class Page:
    """One of the others' plans."""

    title: str
    hypothesis: str
    steps: tuple[str, ...]
    measure: str
    counted: str
    harm: str
    baseline: float
    target: float
    weekly: float
    harm_usual: float
    harm_limit: float


@dataclass(frozen=True, slots=True)
class Other:
    """Somebody whom the bot plays. `notes`: the number of the lever, the side, the text; of a round with fewer levers,
    the last one's."""

    name: str
    notes: tuple[tuple[int, Side, str], ...]
    precedent: Precedent
    plan: Page | None
    actions: tuple[str, str] = ("When the day begins I write down who it is for", "When that is done I try it on ten")


OTHERS: Mapping[str, Other] = {
    "ida": Other(
        "Ida",
        (
            (2, Side.RESTRAINING, "After the first week nobody hears from us any more"),
            (1, Side.RESTRAINING, "New people do not know where to begin"),
            (0, Side.DRIVING, "Those who stay tell their friends"),
        ),
        Precedent("A library's first letter", "New readers got three books by name in their first week.", "Told to me"),
        Page(
            "A first step by name",
            "If everybody new gets one first step by name, more of them come back, because they know what to do.",
            ("Choose the first step for each kind of person", "Show it to every second newcomer"),
            "share that comes back in week 2", "who signed up that week", "requests for help a week",
            0.3, 0.36, 600, 20, 40,
        ),
    ),
    "jonas": Other(
        "Jonas",
        (
            (1, Side.RESTRAINING, "Newcomers are lost: they don't know where to begin"),
            (2, Side.RESTRAINING, "What changed since last time is hard to find"),
            (2, Side.DRIVING, "Teams that invite a second person stay"),
        ),
        Precedent("A choir's second evening", "Each newcomer sat beside somebody who had sung there for years.", ""),
        Page(
            "Come with a second person",
            "If newcomers are asked to bring somebody along, more stay, because two do not forget about it.",
            ("Write the invitation", "Ask every second newcomer on the third day"),
            "share that is there in week 4", "who signed up that week", "people who leave in the first week",
            0.42, 0.48, 600, 60, 90,
        ),
    ),
    "kemi": Other(
        "Kemi",
        (
            (2, Side.RESTRAINING, "People wait two days for an answer"),
            (0, Side.RESTRAINING, "Our first page says what it is, not whom it helps"),
            (1, Side.DRIVING, "Whoever finishes the first task finishes the second"),
        ),
        Precedent("A repair shop's board", "Everybody saw how long the wait was, and waited.", "A visit"),
        Page(
            "An answer within the hour",
            "If first questions are answered within the hour, more people stay, because they go on while they care.",
            ("Two of us share the first questions of the day", "Answer every second newcomer first"),
            "share that is there in week 4", "who asked something in week 1", "answers that were wrong",
            0.5, 0.58, 200, 3, 8,
        ),
    ),
    "lars": Other(
        "Lars",
        (
            (2, Side.RESTRAINING, "Nobody notices when somebody stays away"),
            (1, Side.DRIVING, "A call in the first week helps"),
        ),
        Precedent("A night school's seats", "An empty chair was called on the same evening.", "A friend"),
        None,
    ),
}  # fmt: skip
STOP_LINE = "twice as many complaints as usual"
CHECKED_BY = OTHERS["lars"].name
"""Who looked at what a plan touches that somebody should look at; he wrote none."""
REASON = "Here we lose most of those whom we have won."
