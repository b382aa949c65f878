"""The panel and the words of the command."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from coldframe.domain.names import MemberId, RoundId
from coldframe.domain.state import Round
from coldframe.domain.trial.state import Trial
from coldframe.message.harmless import theirs, written
from coldframe.message.nodes import Block, Button, Code, Form, Items, Line, Message, When, line
from coldframe.message.packed import ButtonValue
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech.answers import done
from coldframe.speech.names import capital, lower, spelt
from coldframe.speech.round import now_words
from coldframe.speech.round.rehearsal_words import TRY_ALONE
from coldframe.speech.steps import WORDS
from coldframe.speech.trial import trial_words

HELP = (
    ("`/coldframe`", "what you can do here and now"),
    ("`/coldframe guide`", "how it works for you, on one page"),
    ("`/coldframe new`", "start a round, in the team's channel"),
    ("`/coldframe rehearse`", "try a round alone; nobody else hears of it"),
    ("`/coldframe status`", "where the rounds stand"),
    ("`/coldframe mine`", "what I owe, my own notes and plans"),
    ("`/coldframe trials`", "trials under way"),
    ("`/coldframe digest`", "the lead's summary"),
    ("`/coldframe report`", "a round, a trial or a year on one page, to print or hand on"),
    ("`/coldframe search WORDS`", "did we try that?"),
    ("`/coldframe bring`", "for the facilitator: enter what ran or was tried before"),
    ("`/coldframe funnel`", "the team's own numbers: what a point on each lever is worth"),
    ("`/coldframe done`", "I'm through with the step; locks my ballot"),
    ("`/coldframe close`, `extend`, `pause`, `resume`, `cancel`", "for the facilitator"),
    ("`/coldframe undo`, `announce`", "what I decided last and nobody has heard of yet: undo it, or don't wait"),
    ("`/coldframe edit`", "put something right: question, people, dates"),
    ("`/coldframe roles`", "who has which role; pass mine on"),
    ("`/coldframe away until next Monday`", "I'm away; `away off` ends it"),
    ("`/coldframe calendar`", "my dates for my calendar program: an address to subscribe to, and a new one"),
    ("`/coldframe hours`", "my working time and zone"),
    ("`/coldframe hide FIRST WORDS`", "a note should not be seen"),
    ("`/coldframe team`", "for the facilitator: export all of the team's, or erase it with another's yes"),
    ("`/coldframe export`, `forget`", "what is held about me; delete it"),
)


def help_() -> Message:
    rows = tuple(line(command) + line(": ") + line(what) for command, what in HELP)
    head = line("Notes in our direct messages: `- retention: …` holds it back, `+ retention: …` drives it.")
    return Message(line("What I understand."), (paragraph(head), Items(rows)))


def form_offered(word: str, form: Form, action: str | None) -> Message:
    """Somebody wrote a word that opens a form: the button that opens it, or the command that does."""
    if action is None:
        return said("That takes a form; this command opens it: {c}", c=Code(f"/coldframe {word}"))
    words = line("{title}: the button opens the form.", title=form.title)
    return told(words, offer(Button("Open …", action, form.value, says=form.title)))


def unknown(word: str, nearest: Sequence[str]) -> Message:
    words = line("I don't know “{w}”.", w=theirs(word, 40))
    if nearest:
        words += line(" Did you mean {n}?", n=" or ".join(nearest))
    words += line(" `/coldframe help` lists everything. Nothing was changed.")
    return told(words)


DOES = {
    "close": "Close the step",
    "pause": "Pause the round",
    "cancel": "Cancel the round …",
    "forget": "Delete what you hold about me …",
}
"""Words that others feel or that cannot be taken back: typed without the command they are asked about first."""


def meant(word: str, message: str, text: str, where: str) -> Message:
    """One question back about such a word, typed alone: the command, or a note of one word? `where`: the steps that the
    person's rounds are at, to one of which the command would go."""
    words = line("Is “{text}” the command, or a note? Nothing has happened yet.", text=theirs(text, 40))
    value = ButtonValue(word, (message, text), where).pack()
    return told(words, offer(Button(DOES[word], "word.do", value), Button("It's a note", "word.note", value)))


def moved_on(word: str) -> Message:
    words = "A round has moved on since you typed that, so I changed nothing. The command is {c}."
    return said(words, c=Code(f"/coldframe {word}"))


def was_a_command(word: str) -> Message:
    return said("Taken as the command {word}.", word=Code(word))


def was_a_note() -> Message:
    return said("Taken as a note.")


def plain_words(text: str) -> Message:
    return told(written(text, 500))


def panel(
    rounds: Sequence[Round], me: MemberId, owed: Sequence[tuple[Line, When]], seen: AllSeen, *, in_channel: bool
) -> Message:
    """What this person can do here and now, as buttons; the answer to "what now?"."""
    head = line("What you can do here.")
    blocks: list[Block] = [heading(head), *open_now(rounds, me, owed, seen)]
    if not rounds:
        words = (
            "No round is open in this channel. `/coldframe new` starts one."
            if in_channel
            else "No round is open for you. In a team's channel `/coldframe new` starts one."
        )
        blocks += [paragraph(words), offer(TRY_ALONE)]
    blocks.append(offer(Button("What you hold about me", "me.export", ""), Button("Forget me …", "me.forget", "")))
    blocks.append(small("`/coldframe help` lists all words, `/coldframe guide` says how it works."))
    return Message(head, tuple(blocks))


def with_trials(shown: Message, trials: Sequence[tuple[Trial, date]], me: MemberId) -> Message:
    """The panel with the trials that wait for this person, above its last row and line."""
    if not trials:
        return shown
    found = [block for trial, today in trials for block in trial_words.open_now(trial, today, me)]
    *before, row, last = shown.blocks
    return replace(shown, blocks=(*before, paragraph("*Your trials*"), *found, row, last))


AllSeen = Mapping[RoundId, now_words.Seen]
"""What is known of the rounds that this person facilitates, beyond their own record."""


def open_now(
    rounds: Sequence[Round], me: MemberId, owed: Sequence[tuple[Line, When]], seen: AllSeen | None = None
) -> list[Block]:
    """What this person owes, and what can be done in these rounds."""
    of_rounds = (now_words.blocks(round_, me, (seen or {}).get(round_.id)) for round_ in rounds)
    return [*owed_now(owed), *(block for found in of_rounds for block in found)]


def owed_now(owed: Sequence[tuple[Line, When]]) -> list[Block]:
    if not owed:
        return []
    return [paragraph("Open for you:"), Items(tuple(what + line(", until {d}", d=due) for what, due in owed))]


def status(rounds: Sequence[Round]) -> Message:
    head = line("{n} open here.", n=capital(spelt(len(rounds), "round is", "rounds are")))
    return told(head, *(paragraph(now_words.where(r)) for r in rounds))


def hide_asked(round_: Round, text: str) -> Message:
    return said(
        "Somebody asks you to hide a note in {name}: “{t}”. If it names a person or a secret, type "
        "`/coldframe hide` and its first words.",
        name=theirs(round_.name, 60),
        t=theirs(text, 200),
    )


# --- what a word has done ---


def _told(template: str, round_: Round, **parts: Any) -> Message:
    return said(template, name=theirs(round_.name, 60), step=lower(round_.step), **parts)


def through(round_: Round) -> Message:
    """The answer to `done`; a ballot is read once more before it is locked."""
    words = WORDS[round_.step].vote if round_.step in WORDS else None
    if words is not None and words.locks:
        return _told("I read your emoji in {name} once more, then your ballot is locked as it stands.", round_)
    return done(True)


def reads_first(round_: Round) -> Message:
    """The answer to a close where nothing is in yet, as far as is known."""
    return _told("{name}: as far as I know nothing is in yet. I look once more and tell you.", round_)


def announced(round_: Round) -> Message:
    """The answer to `announce`. `round_` is the round before it."""
    return _told("{name}: I announce it now. The channel reads what came of the {step} step.", round_)


def longer(round_: Round) -> Message:
    assert round_.progress.due is not None
    return _told("{name}: the {step} step stays open until {due}.", round_, due=When(round_.progress.due))


def rests(round_: Round) -> Message:
    return _told("{name} rests at the {step} step, and no deadline passes. `/coldframe resume` goes on.", round_)


def goes_on(round_: Round) -> Message:
    if round_.progress.due is None:
        return _told("{name} goes on with the {step} step.", round_)
    return _told("{name} goes on with the {step} step, until {due}.", round_, due=When(round_.progress.due))


def added(round_: Round, who: str) -> Message:
    return _told("{who} takes part in {name} now and is asked from the next step on.", round_, who=theirs(who, 40))


def nobody_of_that_name(round_: Round) -> Message:
    return _told("I found nobody of that name in the channel of {name}. Nothing was changed.", round_)


def from_elsewhere(round_: Round, name: str) -> Message:
    """To the facilitator who would add somebody whose presses the platform does not let through."""
    return said(
        "{who} belongs to another organisation and can't be on the roster of {round}. Nothing was changed; what they "
        "have to say, somebody of the team can write for them.",
        who=theirs(name, 40),
        round=theirs(round_.name, 60),
    )


def no_single_note() -> Message:
    return said(
        "No single note begins with these words, so I hid nothing. Copy its first words as they stand, at least four "
        "characters."
    )


HIDDEN_BY = "hidden by the facilitator"
"""Kept with the note in the record of what happened."""


def hidden() -> Message:
    return said("The note is hidden: its words are gone from the lists, and no export shows them.")


def hiding_asked_for() -> Message:
    return said("I've asked the facilitator, without your name. The note can be read until they hide it.")


def sent_in_private() -> Message:
    return said("I've sent it to you in our direct messages.")
