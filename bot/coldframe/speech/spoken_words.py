"""Buttons and forms in words, where a platform has none: numbered choices, and forms that are filled in by answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coldframe.message.emoji import DIGITS
from coldframe.message.harmless import theirs
from coldframe.message.nodes import Block, Button, Buttons, Field, Form, Line, Message, Paragraph, line
from coldframe.message.plain import one_line
from coldframe.message.saying import heading, offer, paragraph, said, small, told
from coldframe.speech.names import count

SEND, STOP = ("send",), ("stop", "cancel")
"""What is typed when a form is full, or shall be left."""
YES, NO = ("yes", "y", "ja", "ok", "x"), ("no", "n", "-")
"""For a box to tick."""
NOTHING = "-"
"""Empties a field."""
MOST_BY_EMOJI = 4
"""So many digits are put under a message as an offer; more are found faster by typing."""
SHOWN = 200  # characters of an answer that is repeated
MOST_OPTIONS = 8
"""More of a field's choices are listed only when it is asked for."""
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


# --- buttons ---


def choices(message: Message) -> tuple[Button, ...]:
    """What can be chosen on it, in the order of the numbers."""
    return tuple(button for block in message.blocks if isinstance(block, Buttons) for button in block.buttons)


def numbered(message: Message, *, by_emoji: bool) -> Message:
    """The message with a numbered line in the place of each button, and how to choose; `by_emoji`: by digits too."""
    every = choices(message)
    if not every:
        return message
    blocks: list[Block] = []
    at = 1
    for block in message.blocks:
        if isinstance(block, Buttons):
            blocks.append(_lines(at, block.buttons))
            at += len(block.buttons)
        else:
            blocks.append(block)
    digits = DIGITS[1 : len(every) + 1] if by_emoji and len(every) <= MOST_BY_EMOJI else ()
    return replace(message, blocks=(*blocks, small(_how(every, by_emoji=by_emoji))), seeds=(*message.seeds, *digits))


def _lines(first: int, buttons: tuple[Button, ...]) -> Paragraph:
    return _below(*(line("*{n}* {label}", n=n, label=theirs(_label(b))) for n, b in enumerate(buttons, first)))


def _below(*lines: Line) -> Paragraph:
    """One under the other."""
    return Paragraph(tuple(part for n, each in enumerate(lines) for part in (*(line("\n") if n else ()), *each)))


def _label(button: Button) -> str:
    """Without the sign that a form opens: what is asked then is seen at once."""
    return button.label.removesuffix("…").rstrip()


def called(button: Button) -> str:
    """As somebody types its label."""
    return _label(button).casefold()


def _how(every: tuple[Button, ...], *, by_emoji: bool) -> Line:
    what = "`1`" if len(every) == 1 else "a number"
    return line(f"Answer with {what}" + (", or put its digit on this message." if by_emoji else "."))


def sure(button: Button) -> Message:
    """Before what cannot be undone: asked once more."""
    again = replace(button, label=f"Yes: {_label(button)}", confirm=None)
    return told(line("{c}", c=button.confirm or ""), offer(again), small("If not, leave it: nothing has changed."))


def no_such_choice(number: int) -> Message:
    return said("There {n} to choose from there now. Nothing was changed.", n=f"is {count(number, 'line')}"
                if number == 1 else f"are {count(number, 'line')}")  # fmt: skip


# --- forms ---


def mark(number: int) -> str:
    """The letter of a field's choice, from nought on: a to z, then aa, ab and so on."""
    above, at = divmod(number, len(_LETTERS))
    return (mark(above - 1) if above else "") + _LETTERS[at]


def form(form_: Form, values: Mapping[str, str], problems: Mapping[str, str], asked: str) -> Message:
    """The form as it stands, and what comes next: the field that is `asked` for, else that it can be sent."""
    fields = [_field(n, field, values, problems, asked) for n, field in enumerate(form_.fields, 1)]
    intro = (paragraph(form_.intro),) if form_.intro else ()
    words = line("{title}", title=form_.title)
    card = Message(words, (heading(words), *intro, _below(*fields), *_next(form_, problems, asked)), private=True)
    return card if asked else replace(card, seeds=("✅",))


def _field(number: int, field: Field, values: Mapping[str, str], problems: Mapping[str, str], asked: str) -> Line:
    value = values.get(field.name, "")
    words = line("*{n}* {label}: ", n=number, label=field.label.rstrip(":?"))
    words += _value(field, value) if value else line("–" if field.required else "– (may stay empty)")
    options = field.options if field.shape in ("choice", "choices") else ()  # else they only help with writing
    if options and (field.name == asked or len(options) <= MOST_OPTIONS):
        words += line(" [{o}]", o=theirs("; ".join(f"{mark(n)} {o.label}" for n, o in enumerate(options))))
    if field.hint and field.name == asked:
        words += line(" {hint}", hint=field.hint)
    if field.name in problems:
        words += line(" *{problem}*", problem=problems[field.name])
    return words


def _value(field: Field, value: str) -> Line:
    if field.shape == "tick":
        return line("yes")
    labels = {option.value: option.label for option in field.options}
    return (theirs(one_line(", ".join(labels.get(v, v) for v in value.split("\n"))), SHOWN),)


def _next(form_: Form, problems: Mapping[str, str], asked: str) -> tuple[Block, ...]:
    by_name = {field.name: (n, field) for n, field in enumerate(form_.fields, 1)}
    several = small("Several at once: a line each, such as `1: …`. A `-` empties a field; `stop` leaves the form.")
    if not asked:
        sends = line("Ready: answer `send`. To change something, begin with its number, such as `1: …`.")
        unclear = (paragraph("{p}", p=problems[""]),) if "" in problems else ()
        return (*unclear, paragraph(sends), small("`stop` leaves it; nothing is sent then."))
    number, field = by_name[asked]
    how = {"choice": "with its letter", "choices": "with its letters", "tick": "`yes` or `no`"}.get(field.shape, "")
    ask = line("Next is *{n}*: please answer ", n=number) + line(f"{how}." if how else "here.")
    alone = len(form_.fields) == 1
    return (paragraph(ask), small("`stop` leaves it.") if alone else several)


def left() -> Message:
    return said("Left; nothing was sent.")


FILL_IN = "Please fill this in."
A_LETTER = "Please answer with one of its letters."
LETTERS = "Please answer with its letters, such as a, c."
YES_OR_NO = "Please answer yes or no."
WHICH_FIELD = "Which one is that for? Please begin with its number."


def no_date(words: str) -> str:
    return f"I can't read “{words[:40]}” as a date. Please write it like 2026-03-02."


def shorten(length: int, most: int) -> str:
    return f"Please keep to {most:,} characters; these are {length:,}."
