"""What the bot asks of one person, in their direct messages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coldframe.domain.names import LeverId, MemberId, MoreTime, Role, Step
from coldframe.domain.round import merging, rules
from coldframe.domain.round.correcting import proposed_dots
from coldframe.domain.round.merging import LEAST_JOINED, needs_second_person
from coldframe.domain.round.readiness import nothing_in
from coldframe.domain.state import MergeProposal, Round
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Facts, Items, Line, Message, To, When, line
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech import wanting_words
from coldframe.speech.names import about, capital, count, lower, message_name, spelt, title, who
from coldframe.speech.round import likeness_words
from coldframe.speech.round.cards import what_follows

OWN_MESSAGES, OWN_MESSAGES_CLEARED = (
    "your own messages stay yours",
    "your own messages and my answers to them are deleted here when their step is over",
)
PRIVACY = (
    "What you write here is encrypted, and nobody reads it before its reveal, the facilitator included; then notes and "
    "plans appear unsigned, votes as counts. Unsigned text is kept 12 months. `/coldframe export` shows what I hold "
    "about you, `/coldframe forget` deletes it. Administrators of this chat may be able to read direct messages."
)
KEPT = (
    "Your name, time zone and hours; and what you write here, encrypted until its reveal. Then the link from note to "
    "writer is erased; who wrote a plan stays sealed unless they say so; who voted for what is never shown. Unsigned "
    "text stays 12 months.",
    "By then I take back what I showed you of yours; {own}.",
    "`/coldframe export` shows what I hold about you; `/coldframe forget` deletes it, and your name everywhere.",
)


def until(round_: Round, member: MemberId) -> Line:
    """The person's own deadline where it comes before the team's, else the team's; none passes while it rests."""
    if round_.paused is not None:
        return line("No deadline passes while the round rests.")
    due = round_.progress.due
    assert due is not None
    own = round_.progress.part_due(member)
    if own is not None and own < due:
        return line("Please answer by {own}.", own=When(own))
    return line("Until {due}.", due=When(due))


def done(round_: Round, member: MemberId, *, main: bool = False) -> Button:
    """Says that one is done, or takes it back; `main`: it is what is left to do."""
    if member in round_.progress.done:
        return Button("I'm not done", "step.undone", about(round_))
    return Button("I'm done", "step.done", about(round_), "primary" if main else "plain")


def card(round_: Round, step: Step, *blocks: Block, summary: Line, then: Line = ()) -> Message:
    """A step's private card: the round's name above, what happens next below; `then`: to this person, if not to all."""
    head = heading("{name}: {step}", name=theirs(round_.name, 60), step=title(step))
    return Message(summary, (head, *blocks, small(then or what_follows(round_, step))))


FIRST = "first"
"""What a button of the first word carries."""


SEEN_EMOJI = (
    "One thing is open here: whoever runs your server can read the emoji that you put on my messages, though not what "
    "you type. To vote unseen, answer with the numbers."
)


def first_word(hours: str, doubt: Line = (), *, confirmed: bool = False, seen_emoji: bool = False) -> Message:
    """The first direct message to a person: who this is, what is kept, what working time was assumed; `doubt` says
    why the zone may be wrong, `seen_emoji` that reactions are less private than words."""
    asked = line("✓ You work *{hours}*." if confirmed else "I have your hours as *{hours}*. Right?", hours=hours)
    right = () if confirmed else (Button("That's right", "hours.confirm", FIRST, "primary"),)
    return told(
        line("I run growth rounds for your team."),
        paragraph(PRIVACY),
        *((paragraph(SEEN_EMOJI),) if seen_emoji else ()),
        paragraph((*doubt, *line(" ")) * bool(doubt) + asked),
        offer(
            *right,
            Button("Change …", "hours.write", "", says="Change my working hours and time zone"),
            Button("What you keep", "me.kept", "", says="What you keep about me"),
        ),
    )


def what_is_kept(*, clears: bool) -> Message:
    """All of it, to whoever wants to know."""
    own = OWN_MESSAGES_CLEARED if clears else OWN_MESSAGES
    return told(line("What I keep about you"), *(paragraph(part.format(own=own)) for part in KEPT))


def please_write(round_: Round, member: MemberId) -> Message:
    """In the channel, to somebody who cannot be reached in private; it says nothing else."""
    return said(
        "{who}, I can't reach you in private. Please write me a direct message; any word will do.",
        who=who(round_, member, notify=True),
    )


# --- notes ---


def ask_consent(round_: Round, writers: int) -> Message:
    people = "you alone wrote" if writers == 1 else f"only {writers} people wrote"
    words = line(
        "{people}, so colleagues will know or guess who wrote what. "
        "Shall I show the notes all the same? I do only if each writer agrees.",
        people=people.capitalize(),
    )
    return told(
        words,
        offer(Button("Show them", "note.consent", about(round_), "primary")),
        small(
            "If not, do nothing, or withdraw your notes on the sheet above. The facilitator may give more people time "
            "to write."
        ),
    )


# --- focus, merge ---


def pick_focus(
    round_: Round, member: MemberId, counts: Sequence[tuple[LeverId, int, int]], help_: Line = ()
) -> Message:
    """To the decision-maker: notes per lever, and a button for each."""
    most = max((restraining + driving for _, restraining, driving in counts), default=0)
    rows = tuple(
        (round_.settings.lever_name(lever), _notes_on_lever(restraining, driving, most))
        for lever, restraining, driving in counts
    )
    summary = line("{name}: which lever does the round work on? ", name=theirs(round_.name, 60)) + until(round_, member)
    buttons = tuple(
        Button(f"{round_.settings.lever_name(lever)} …", "focus.pick", about(round_, lever), says=f"Pick {lever}")
        for lever, restraining, _ in counts
        if restraining
    )
    more: tuple[Block, ...] = (paragraph(help_),) if help_ else ()
    return card(
        round_,
        Step.FOCUS,
        paragraph(
            "Which lever does the round work on? Read {notes} in the channel, then press a lever. Everybody reads "
            "your reason, a sentence.",
            notes=To(message_name(round_.id, "reveal"), "the notes"),
        ),
        Facts(rows),
        small("More notes means more talked about, not more important."),
        *more,
        paragraph(until(round_, member)),
        offer(*buttons),
        summary=summary,
    )


HARDLY_ANY = 3  # notes; fewer are hardly any, where another lever has more


def _notes_on_lever(restraining: int, driving: int, most: int) -> Line:
    """A lever that few thought of is named as such, so that it is not taken for one without trouble."""
    words = line("{r}, {d}", r=_as_many(restraining, "hold", "us back"), d=_as_many(driving, "drive", "us"))
    hardly = restraining + driving < HARDLY_ANY <= most
    return words + line("; hardly anybody wrote about it, which says nothing of its worth") * hardly


def _as_many(number: int, verb: str, whom: str) -> str:
    """`3 hold us back`, `1 holds us back`, `nothing holds us back`."""
    return f"{number or 'nothing'} {verb if number > 1 else f'{verb}s'} {whom}"


def merge_desk(round_: Round, member: MemberId) -> Message:
    """To the facilitator: the pair that is to be answered now, how many are left, and what they can do beside."""
    open_ = merging.on_the_desk(round_)
    summary = line(
        "{name}: {n} left to answer, {f} as it stands. ",
        name=theirs(round_.name, 60),
        n=spelt(len(open_), "pair"),
        f=count(len(round_.forces), "force"),
    )
    if open_:
        summary += _the_same(round_, open_[0]) + line(" ")
    dots = proposed_dots(round_)
    return card(
        round_,
        Step.MERGE,
        *_pair_to_answer(round_, open_),
        *_joined_so_far(round_),
        small(line("Every wording stays, and what you don't answer stays apart.") + _second_yes(round_)),
        *((small(_many_forces(round_, dots)),) if dots is not None else ()),
        *((small(BY_WORDS),) if round_.by_words else ()),
        paragraph(until(round_, member)),
        offer(*_merge_buttons(round_, open_, dots)),
        summary=summary + until(round_, member),
    )


BY_WORDS = "Compared by words alone here, not by meaning: look yourself for pairs that share few words."


def _second_yes(round_: Round) -> Line:
    alone = needs_second_person(round_)
    return line(" As you are the decision-maker too, somebody else has to say yes to each join.") if alone else ()


def _pair_to_answer(round_: Round, open_: Sequence[MergeProposal]) -> tuple[Block, ...]:
    stands = line("{f} as it stands.", f=count(len(round_.forces), "force"))
    if not open_:
        return (paragraph(line("No pair to answer: ") + stands),)
    left = line(" {n} to go.", n=count(len(open_), "pair"))
    return paragraph(likeness_words.question(open_[0]) + left), *_pair(round_, open_[0])


def _joined_so_far(round_: Round) -> tuple[Block, ...]:
    joined = [round_.wordings(force.id) for force in round_.forces if len(force.notes) > 1]
    if not joined:
        return ()
    return paragraph("Joined:"), Items(tuple(written("  =  ".join(texts), 500) for texts in joined[:60]))


def _merge_buttons(round_: Round, open_: Sequence[MergeProposal], dots: int | None) -> tuple[Button, ...]:
    key = about(round_)
    buttons = [Button("Close the merge", "step.close", key, "plain" if open_ else "primary")]
    if len(round_.forces) > 1:
        buttons += [Button("Join by hand …", "merge.join", key), Button("Show more pairs", "merge.more", key)]
    if any(len(f.notes) > 1 for f in round_.forces):
        buttons.append(Button("Split …", "merge.object", key))
    if dots is not None:
        buttons.append(Button(f"Give everybody {dots} dots", "merge.dots", key))
    return tuple(buttons)


def _many_forces(round_: Round, dots: int) -> Line:
    return line(
        "{n} are many for {few} each: with {dots} the strong ones stand out better.",
        n=count(len(round_.forces), "force"),
        few=count(round_.settings.dots, "dot"),
        dots=dots,
    )


def merge_proposal(round_: Round, proposal: MergeProposal) -> Message:
    """Notes by themselves: to everybody for a second yes, or to the facilitator when somebody said so."""
    summary = _the_same(round_, proposal)
    if proposal.answer is not None:
        verdict = line("Joined." if proposal.answer else "Kept apart.")
        return Message(verdict + line(" ") + summary, (paragraph(summary), small(verdict)))
    return Message(summary, (paragraph(likeness_words.question(proposal)), *_pair(round_, proposal)))


def _the_same(round_: Round, proposal: MergeProposal) -> Line:
    said = likeness_words.question(proposal)
    for place, note in enumerate(proposal.alike):
        said += line(" / {words}" if place else " {words}", words=theirs(round_.notes[note].shown(), 300))
    return said


def _pair(round_: Round, proposal: MergeProposal) -> tuple[Block, ...]:
    """All that are proposed; where a second yes is asked for, those that the first one joins."""
    return (
        Items(tuple(written(round_.notes[note].shown(), 600) for note in proposal.alike)),
        small("{why}.", why=theirs(capital(likeness_words.why_in_short(proposal.why)), 300)),
        offer(*_merge_answers(proposal, about(round_, proposal.first, proposal.second))),
    )


def _merge_answers(proposal: MergeProposal, key: str) -> tuple[Button, ...]:
    same, differ = Button("Same point", "merge.yes", key, "primary"), Button("They differ", "merge.no", key)
    if len(proposal.alike) == LEAST_JOINED:
        return same, differ
    return replace(same, label="All the same point"), Button("Only some …", "merge.some", key), differ


def deputy_heads_up(round_: Round, role: str, name: str) -> Message:
    words = line(
        " Half of the time is over. If nothing has come by {due}, you act as {role} in {name}'s place.",
        due=When(round_.progress.due) if round_.progress.due else "the deadline",
        name=theirs(name, 40),
        role=role,
    )
    return told(line("Nothing to do yet. ") + wanting_words.undecided(round_) + words)


def stuck(round_: Round, came: int, quorum: int, why: MoreTime) -> Message:
    """To the facilitator: it cannot be closed, even after the extension."""
    words = line(
        "{what} I've kept it open once already. What should happen?", what=_what_lacks(round_, came, quorum, why)
    )
    return told(words, offer(*ways_on(round_, why)), small(without_answer(round_, why)))


def nothing_came(round_: Round, came: int) -> Message:
    """To the facilitator: everybody is done, and nothing came in."""
    words = line("{what} What should happen?", what=_what_lacks(round_, came, 0, MoreTime.NOTHING))
    return told(words, offer(*ways_on(round_, MoreTime.NOTHING)), small(without_answer(round_, MoreTime.NOTHING)))


def _what_lacks(round_: Round, came: int, quorum: int, why: MoreTime) -> Line:
    where = line("The {step} step in {round} ", step=lower(round_.step), round=theirs(round_.name, 60))
    match why:
        case MoreTime.NOTHING:
            done = "1 person says that they are" if came == 1 else f"{came} people say that they are"
            return where + line(
                "is done for all who are in ({done}), but {lack}.", done=done, lack=wanting_words.NOT_THERE[round_.step]
            )
        case MoreTime.ROLE:
            chief = theirs(round_.name_of(round_.roles.acting(Role.DECISION_MAKER)), 40)
            return where + line("has enough people in, but not {chief}, whose votes it needs.", chief=chief)
        case MoreTime.CONSENT:
            return where + line(
                "has too few writers to be unsigned, and not all of them have agreed to show their notes."
            )
        case _:
            return where + line("has {came} of the {quorum} people that it needs.", came=came or "none", quorum=quorum)


def ways_on(round_: Round, why: MoreTime) -> tuple[Button, ...]:
    more = Button("Give more time", "step.extend", about(round_), "primary")
    cancel = Button("Cancel the round …", "round.cancel", about(round_), "danger")
    if not nothing_in(round_):
        return more, Button("Go on with what is there", "step.close", about(round_)), cancel
    if round_.step is Step.PLANS:
        return more, Button("End the round, with a date for the next …", "round.end", about(round_)), cancel
    if rules.RULES[round_.step].without is not None:
        return more, Button("Go on without votes", "step.without", about(round_)), cancel
    return more, cancel


def without_answer(round_: Round, why: MoreTime) -> Line:
    due = When(round_.progress.due) if round_.progress.due else "the next deadline"
    if nothing_in(round_) or why is MoreTime.CONSENT:
        return line("Without an answer the round rests from {due}, and nothing is lost.", due=due)
    return line("Without an answer it goes on {due} with what is there.", due=due)
