"""Short answers to single people: questions back, what was kept, what cannot be done."""

from __future__ import annotations

from collections.abc import Sequence

from coldframe.domain.names import Deciding, PauseReason, Role, Side, Step
from coldframe.domain.state import Draft, Round
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Button, Message, Quoted, When, line, plain
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import offer, said, small, told
from coldframe.ports.chat import Person
from coldframe.speech import wanting_words
from coldframe.speech.names import SIDES, about, count, lower, spelt, who

MAX_ROUNDS = 20  # in one question
MAX_CARRIED, MAX_CARRIED_TOGETHER = 1_800, 7_000  # characters that buttons carry: each, and in one message


ONE_OF_TWO_SIDES = "Choose one of the two directions."
A_KIND = "Choose how it is compared."
A_CHANCE = "Choose a chance."


def sentence(message: Message) -> str:
    """The message's summary as plain text, for beside a field."""
    return plain(message.summary)


def cannot_be_read() -> Message:
    return said(
        "I can't read this round just now: something is wrong in my own records, so I took nothing of what you did. "
        "Please keep a copy, and tell whoever runs me to look with `coldframe doctor`. All else goes on."
    )


def no_round() -> Message:
    return said(
        "Nothing is open for you just now, so I didn't keep that. `/coldframe` shows what you can do; `/coldframe new` "
        "in a channel starts a round."
    )


def which_round(rounds: Sequence[tuple[str, str]], message: str, text: str) -> Message:
    """One question back about a text that fits several rounds (id, name); a button carries it into its round."""
    words = line("Which round is this for? I keep it when you choose; until then it stands here for you alone.")
    buttons = tuple(_for_round(key, name, message, text, len(rounds)) for key, name in rounds[:MAX_ROUNDS])
    drop = Button("Throw it away", "text.drop", ButtonValue(rounds[0][0], (message,)).pack(), "danger")
    aside = small("An answer in the thread of a round's own message goes to that round without a question.")
    return told(words, Quoted(theirs(text, 3000).text), offer(*buttons, drop), aside, private=True)


def _for_round(
    round_id: str, name: str, message: str, text: str, rounds: int, action: str = "text.take", label: str = ""
) -> Button:
    """Takes the text; where it is longer than buttons can carry, opens the form that it is to be pasted into."""
    name = theirs(name, 60).text
    carried = ButtonValue(text).pack().encode("utf-16-le")
    if len(carried) // 2 > min(MAX_CARRIED, MAX_CARRIED_TOGETHER // rounds):
        return Button(f"Paste it into {name} …", "note.write", ButtonValue(round_id, made_for=Step.NOTES.value).pack())
    return Button(label or name, action, ButtonValue(round_id, (message, text)).pack(), says=f"It is for {name}")


def misplaced(rounds: Sequence[tuple[str, str]], message: str, text: str) -> Message:
    """To somebody who wrote a note where everybody reads it, while notes are private."""
    words = line(
        "Did you mean this as a note? It stands in the channel, where everybody reads it, and notes are private until "
        "the reveal. Shall I take it privately? If so, please delete yours in the channel."
    )
    several = len(rounds) > 1
    buttons = tuple(
        _for_round(
            key, name, message, text, len(rounds), "text.private",
            f"Take it privately for {theirs(name, 60).text}" if several else "Take it privately",
        )
        for key, name in rounds[:MAX_ROUNDS]
    )  # fmt: skip
    leave = Button("No, leave it", "text.leave", ButtonValue(rounds[0][0], (message,)).pack())
    return told(words, Quoted(theirs(text, 3000).text), offer(*buttons, leave))


def taken_privately() -> Message:
    return said("Taken; nobody sees it before the reveal. Please delete your message in the channel now.")


def left_in_the_channel() -> Message:
    return said("All right, I leave it alone.")


def text_taken(round_: Round) -> Message:
    """The text itself stands above, in its writer's own message."""
    return said("That was for {r}.", r=theirs(round_.name, 60))


def text_taken_already(round_: Round) -> Message:
    return said("{r} has that already. Nothing was taken twice.", r=theirs(round_.name, 60))


def no_round_takes(rounds: Sequence[tuple[str, str]], text: str) -> Message:
    """Several rounds are under way, and none of them is at a step that takes a text."""
    words = line(
        "None of your {n} ({names}) takes a text just now, so I didn't keep this. `/coldframe` shows what you can do.",
        n=count(len(rounds), "round"),
        names=theirs(", ".join(name for _, name in rounds), 200),
    )
    return told(words, Quoted(theirs(text, 3000).text), private=True)


def no_round_waits() -> Message:
    """In place of the question which round a text is for."""
    return said("None of your rounds takes this any more. The text stands in your own message, and nowhere else.")


def which_note(round_: Round, draft: Draft) -> Message:
    """One question back about a text whose lever or direction is unclear, its likeliest lever first; several lines may
    be several notes."""
    lines = [piece for piece in draft.text.split("\n") if piece.strip()]
    tried = line("There is no lever “{t}” in this round. ", t=theirs(draft.tried, 60)) if draft.tried else ()
    words = tried + line("Where does this belong?")
    names = dict(round_.settings.levers)
    likely = [key for key in draft.likely if key in names]
    levers = [(key, names[key]) for key in dict.fromkeys((*likely, *names)) if draft.lever in (None, key)]
    sides = [draft.side] if draft.side is not None else [Side.RESTRAINING, Side.DRIVING]
    amounts = [("one", "")] if len(lines) < 2 else [("each", f", as {len(lines)} notes"), ("one", ", as one note")]
    buttons = [
        Button(
            f"{name}, {SIDES[s]}{suffix}",
            "draft.place",
            about(round_, draft.id, key, s, amount),
            says=f"{name}, {SIDES[s]}{suffix}",
        )
        for key, name in levers
        for s in sides
        for amount, suffix in amounts
    ]
    buttons.append(Button("Throw it away", "draft.drop", about(round_, draft.id), "danger"))
    return told(
        words,
        Quoted(theirs(draft.text, 1000).text),
        offer(*buttons),
        small("Nobody else sees it. If you don't choose before the reveal, I drop it."),
    )


def draft_placed(notes: int) -> Message:
    return said("Taken as {n}.", n=spelt(notes, "note"))


def draft_dropped() -> Message:
    return said("Thrown away.")


def is_over() -> Message:
    """In the place of something that cannot be taken back."""
    return said("This is over.")


def not_kept() -> Message:
    """In the place of a text that waited for an answer."""
    return said("Your text waited a week for your answer, so I didn't keep it.")


def done(is_done: bool) -> Message:
    if is_done:
        return said("Thank you, you're done with this step. I write to you when the next one needs you.")
    return said("All right, you aren't done yet: this step waits for you until its deadline.")


def noted() -> Message:
    return said("Noted.")


def nothing_to_change() -> Message:
    return said("It stands like that already. Nothing was changed.")


def consent_kept() -> Message:
    return said("✓ Thanks. The notes appear once every writer has agreed; until then nobody sees them.")


def forecast_kept() -> Message:
    return said("Thanks. Nobody sees it before the commitment is sealed.")


def merge_answered(same: bool) -> Message:
    if same:
        return said("Joined. Every wording stays, and you can undo it until the dots open.")
    return said("Kept apart.")


def not_so_kept() -> Message:
    return said("Noted: everybody reads that you say it doesn't, and it can start without a check.")


def same_said() -> Message:
    return said("Thanks. The facilitator decides, and nobody is told that it was you.")


def jotted(kept: bool) -> Message:
    if not kept:
        return said("Your page is empty again.")
    return said("Noted, for you alone. It is there again when you write a plan.")


def looking_for_pairs() -> Message:
    return said("I'm looking; what I find comes to you in a moment.")


def no_more_pairs() -> Message:
    return said("I find no more pairs that are alike. “Join by hand” is for what only a person can see.")


def no_single_person(name: str, found: int) -> str:
    """Beside a field in which somebody's name was typed."""
    if not found:
        return f"“{name[:40]}” doesn't take part in this round. Write the name as it stands in the channel."
    return f"{found} people here are called “{name[:40]}”. Leave the name out; the owner can hand the action on."


def draft_changed() -> Message:
    return said("You changed that message, so this question is settled. I ask again about what is still unclear.")


def not_a_time_for_notes(round_: Round, text: str) -> Message:
    words = line(
        "{name} is at the {step} step, which takes no text, so I didn't keep this. `/coldframe` shows what you can do "
        "now.",
        name=theirs(round_.name, 60),
        step=lower(round_.step),
    )
    return told(words, Quoted(theirs(text, 3000).text), private=True)


_NOW = {Deciding.FOCUS: "Announce it now", Deciding.CLOSE: "Close now", Deciding.WITHOUT: "Close now"}
_UNDO = {Deciding.FOCUS: "Undo the pick", Deciding.CLOSE: "Undo the close", Deciding.WITHOUT: "Undo the close"}


def second_thoughts(round_: Round) -> tuple[Button, Button]:
    """Made for this very decision: another one has buttons of its own."""
    held = round_.decided()
    assert held is not None
    value = about(round_, held.at.isoformat())
    name = theirs(round_.name, 60).text
    publishes = round_.step is Step.QUESTIONS
    undo, now = ("Don't publish yet", "Publish now") if publishes else (_UNDO[held.what], _NOW[held.what])
    return (
        Button(undo, "held.undo", value, says=f"{undo} in {name}"),
        Button(now, "held.now", value, says=f"{now}: {name}"),
    )


def question_suggested(round_: Round) -> Message:
    """To somebody who suggested a wording for a question."""
    due = round_.progress.due
    until = line(" until {due}", due=When(due)) if due is not None else ()
    first = line(
        "Passed on as a suggestion. {who} words the questions", who=who(round_, round_.roles.acting(Role.FACILITATOR))
    )
    words = (*first, *until, *line("; then everybody looks for what others did about them."))
    return told(words)


def note_withdrawn() -> Message:
    return said("The note is withdrawn, and its text is gone from here.")


def edit_after_reveal() -> Message:
    return said(
        "The notes are out, and I no longer know who wrote which, so I can't tell which one you mean. If nobody should "
        "see it, type `/coldframe hide` and its first words: the facilitator hides it."
    )


def ballot_closed(round_: Round) -> Message:
    return said(
        "That ballot is closed, so the emoji doesn't count. The round is at the {s} step now.", s=lower(round_.step)
    )


def guest_came(round_: Round, person: Person) -> Message:
    """To the facilitator: whether a guest of the channel takes part."""
    words = line(
        "{who} came into the channel of {round} as a guest. Shall they take part, in this round and the next ones? "
        "Until you say yes they see what stands in the channel, and I answer them nothing.",
        who=theirs(person.name, 40),
        round=theirs(round_.name, 60),
    )
    value = about(round_, person.id, theirs(person.name, 40).text)
    buttons = (Button("Let them take part", "guest.admit", value, "primary"), Button("No", "guest.decline", value))
    return told(words, offer(*buttons))


def guest_let_in(round_: Round, name: str) -> Message:
    return said(
        "{who} takes part in {round}, and in this channel's next rounds. `/coldframe edit` takes it back.",
        who=theirs(name, 40),
        round=theirs(round_.name, 60),
    )


def guest_stays_out(round_: Round, name: str) -> Message:
    return said(
        "{who} takes no part in {round}. `/coldframe add` and their name lets them in later.",
        who=theirs(name, 40),
        round=theirs(round_.name, 60),
    )


def guest_has_left(round_: Round) -> Message:
    return said("They are no guest in the channel of {round} now. Nothing was changed.", round=theirs(round_.name, 60))


def from_elsewhere_came(round_: Round, name: str) -> Message:
    """To the facilitator: somebody came who cannot take part."""
    return said(
        "{who} came into the channel of {round} from another organisation. They see what the channel sees, aren't on "
        "the roster, and can't be put on it.",
        who=theirs(name, 40),
        round=theirs(round_.name, 60),
    )


def zone_changed(zone: str) -> Message:
    words = line("Your time zone is {zone} now. Shall I use it for your hours from now on?", zone=theirs(zone, 60))
    buttons = (Button("Yes, use it", "zone.use", zone, "primary"), Button("No", "zone.keep", zone))
    return told(words, offer(*buttons), small("A deadline never moves earlier."))


def channel_lost(round_: Round, reason: PauseReason) -> Message:
    return said(
        "{name} rests, because {why}. Nothing is lost, and I still take private answers. To go on, invite me to a "
        "channel and type `/coldframe resume` there.",
        name=theirs(round_.name, 60),
        why=wanting_words.rested(round_, reason),
    )
