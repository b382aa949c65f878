"""What `forget` means for one person: said before, and said when it is done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from coldframe.domain.names import Step
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Items, Line, Message, line
from coldframe.message.saying import offer, paragraph, said
from coldframe.speech.names import count
from coldframe.speech.people.held_words import Held

ONE_AND_MORE: Mapping[str, tuple[str, str]] = {
    "notes": ("note that isn't revealed", "notes that aren't revealed"),
    "late notes": ("late note", "late notes"),
    "texts without a place yet": ("text without a place yet", "texts without a place yet"),
    "plans": ("plan", "plans"),
    "dots": ("dot", "dots"),
    "votes": ("vote", "votes"),
    "comparisons": ("comparison", "comparisons"),
    "forecasts in per cent": ("forecast", "forecasts"),
    "why a trial would fail": ("reason why a trial would fail", "reasons why a trial would fail"),
    "suggested questions": ("suggested question", "suggested questions"),
    "precedents": ("precedent", "precedents"),
}
"""How the parts of a round are called that are deleted or stay."""
UNREAD_IN: Mapping[str, Sequence[Step]] = {
    "plans": (Step.PLANS,),
    "dots": (Step.DOTS,),
    "votes": (Step.BALLOT,),
    "comparisons": (Step.BALLOT, Step.PLACEMENT),
    "suggested questions": (),
    "precedents": (),
}
"""What is deleted in these steps only, since everybody has read or counted it afterwards."""


OF_TRIALS = ("forecasts in per cent", "why a trial would fail")
"""They go with a round's trials once it is committed, and are counted there."""


def first(held: Held, running: Sequence[str]) -> Message:
    """Before anything happens."""
    head = line("This deletes what I hold about you. It can't be undone, and nothing has happened yet.")
    blocks: list[Block] = [paragraph(head), *_lists(held)]
    if running:
        words = "You would be out of {rounds}; what you have to decide there goes to somebody else."
        blocks.append(paragraph(words, rounds=theirs(", ".join(running), 200)))
    blocks.append(paragraph(OWN_MESSAGES))
    blocks.append(paragraph("`/coldframe forget me` does it. `/coldframe export` gives you a copy first."))
    blocks.append(offer(Button("Give me a copy", "me.export", ""), Button("Forget me", "me.forgotten", "", "danger")))
    return Message(head, tuple(blocks))


OWN_MESSAGES = (
    "What I have told you in private I take back. Your own messages are yours: where I can't empty our chat, please "
    "delete them there. What the channel has read stays there."
)


def done(held: Held) -> Message:
    """The last word."""
    if not _is_anything(held):
        return said("Done: I hold nothing about you.")
    head = line("Done: I've forgotten you, and you're out of every round.")
    later = (
        "What is on its way to you is gone within minutes. If you stay in the channel, the next round may ask you "
        "again; then I begin anew."
    )
    return Message(head, (paragraph(head), *_lists(held), paragraph(OWN_MESSAGES), paragraph(later)))


def _lists(held: Held) -> list[Block]:
    stays = _stays(held)
    rest: list[Block] = [paragraph("Stays, without your name:"), Items(tuple(stays))] if stays else []
    return [paragraph("Deleted:"), Items(tuple(_deleted(held))), *rest]


def _is_anything(held: Held) -> bool:
    return any(held[name] for name in ("record", "reminded", "rounds", "trials", "leads"))


def _deleted(held: Held) -> list[Line]:
    found = [line("your name, working hours, absences and the times of my reminders")]
    found += [line("{w}", w=words) for words in _counted(held, unread=True)]
    private = sum(bool(trial[part]) for trial in _of(held, "trials") for part in ("why it would fail", "learning"))
    private += sum(trial["forecast in per cent"] is not None for trial in _of(held, "trials"))
    if private:
        found.append(
            line(f"{count(private, 'forecast, fear or learning', 'forecasts, fears and learnings')} of trials")
        )
    return found


def _stays(held: Held) -> list[Line]:
    read = _counted(held, unread=False)
    found = [line("{w}, which everybody has read or counted", w=words) for words in read]
    if _of(held, "rounds"):
        found.append(line("revealed notes: nobody can tell which are yours; counted votes are erased a week later"))
    if any(trial["owned"] or trial["weeks logged"] for trial in _of(held, "trials")):
        found.append(line("numbers of trials, and what the register says of them, with “somebody who left” as owner"))
    return found


def _counted(held: Held, *, unread: bool) -> Iterable[str]:
    for name, (one, many) in ONE_AND_MORE.items():
        rounds = (r for r in _of(held, "rounds") if not (name in OF_TRIALS and r["step"] == Step.COMMITTED))
        number = sum(len(r[name]) for r in rounds if _is_unread(r, name) is unread)
        if number:
            yield count(number, one, many)


def _is_unread(part: Held, name: str) -> bool:
    return name not in UNREAD_IN or part["step"] in UNREAD_IN[name]


def _of(held: Held, name: str) -> list[Held]:
    found: list[Held] = held[name]
    return found
