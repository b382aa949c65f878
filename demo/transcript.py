"""The conversation as a reader follows it: who, where, when in whose time; on the terminal and as Markdown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from zoneinfo import ZoneInfo

import click

from coldframe.chat.room.records import Record
from coldframe.players.scenario import Scenario
from coldframe.ports.chat import Clock
from coldframe.render.room import message_text, tame

WIDTH, INDENT = 112, "    "
# What turns the direction of all that follows in a line; shown by name, as other control characters are.
_TURNS = {
    0x202A: "⟨LRE⟩", 0x202B: "⟨RLE⟩", 0x202C: "⟨PDF⟩", 0x202D: "⟨LRO⟩", 0x202E: "⟨RLO⟩",
    0x2066: "⟨LRI⟩", 0x2067: "⟨RLI⟩", 0x2068: "⟨FSI⟩", 0x2069: "⟨PDI⟩",
}  # fmt: skip


class Transcript:
    """Turns records into lines. Moments stand in the zone of the person in whose messages they are read."""

    def __init__(self, scenario: Scenario) -> None:
        self._zones = {p.id: p.zone for p in scenario.team}
        self._names = {p.id: p.name for p in scenario.team}
        self._channel_zone = self._zones.get(scenario.roles.facilitator, "UTC")

    def zone(self, record: Record) -> str:
        if record.place.kind == "direct":
            return self._zones.get(record.place.id, "UTC")
        return self._channel_zone

    def head(self, record: Record) -> str:
        """`Mon 23 Mar 09:00 (Europe/London), in #growth, coldframe:`"""
        zone = self.zone(record)
        moment = record.at.astimezone(ZoneInfo(zone)).strftime("%a %-d %b %H:%M")
        where = (
            f"in #{record.place.id}"
            if record.place.kind == "channel"
            else f"to {self._names.get(record.place.id, '?')}"
        )
        if record.place.kind == "direct" and not record.by_bot:
            where = "to coldframe"
        thread = ", in a thread" if record.place.thread else ""
        return f"{moment} ({zone}), {self._names.get(record.author, record.author)} {where}{thread}:"

    def reader(self, record: Record) -> str:
        """Whose direct messages it stands in."""
        return self._names.get(record.place.id, "?")

    def heads(self, together: Sequence[Record]) -> list[str]:
        """A head for each zone, with all who are told the same there."""
        if len(together) == 1:
            return [self.head(together[0])]
        readers: dict[str, list[str]] = {}
        for record in together:
            start = self.head(record).removesuffix(f" to {self.reader(record)}:")
            readers.setdefault(start, []).append(self.reader(record))
        heads = [f"{start} to {', '.join(names)}" for start, names in readers.items()]
        return [f"{head};" for head in heads[:-1]] + [f"{heads[-1]}:"]

    def body(self, record: Record) -> list[str]:
        """The message as lines of plain text, buttons in brackets, files by name."""
        said = message_text(record.message, self.zone(record), record.at) if record.message else tame(record.text or "")
        lines = said.translate(_TURNS).splitlines()
        lines += [f"[file: {f.name}]" for f in record.files]
        if record.reactions:
            lines.append(
                "reactions: "
                + ", ".join(f":{r.emoji}: {self._names.get(r.person, r.person)}" for r in record.reactions)
            )
        return lines or ["(withdrawn)"]

    def markdown(self, records: Iterable[Record], title: str) -> str:
        """The whole conversation; people's words are indented, so that nothing in them becomes markup."""
        parts = [f"# {title}", "", "Cards are kept up to date in place: each is shown as it read at the end.", ""]
        for record in records:
            parts += [f"**{self.head(record)}**", "", *(f"    {line}" for line in self.body(record)), ""]
        return "\n".join(parts)


class Printer:
    """Prints records as they come, wrapped; bold only on a terminal.

    What the bot tells several people at one moment in the same words is printed once, with what differs for whom.
    """

    def __init__(self, transcript: Transcript, out: Callable[[str], None], *, colour: bool) -> None:
        self._transcript = transcript
        self._out = out
        self._colour = colour
        self._together: list[tuple[Record, list[str]]] = []
        """Each with its lines."""

    def show(self, records: Iterable[Record]) -> None:
        """Prints what came at a moment."""
        for record in records:
            lines = self._transcript.body(record)
            if self._together and not self._alike(record, lines):
                self._flush()
            self._together.append((record, lines))
        self._flush()

    def _alike(self, other: Record, lines: list[str]) -> bool:
        """Whether it and the first are the bot's, to two people at one moment, and share two thirds of the lines."""
        first, known = self._together[0]
        private = all(r.by_bot and r.place.kind == "direct" and r.place.thread is None for r in (first, other))
        if not private or first.at != other.at or first.place == other.place:
            return False
        return 3 * len(_own(known, lines)) <= len(lines)

    def _flush(self) -> None:
        together, self._together = self._together, []
        if not together:
            return
        for head in self._transcript.heads([record for record, _ in together]):
            self._out(f"\x1b[1m{head}\x1b[0m" if self._colour else head)
        (_, known), *others = together
        for line in known:
            self._out(_wrapped(line))
        differing: dict[tuple[str, ...], list[str]] = {}
        for record, lines in others:
            differing.setdefault(tuple(_own(known, lines)), []).append(self._transcript.reader(record))
        for own, readers in differing.items():
            if own:
                self._out(_wrapped(f"({', '.join(readers)}: {' / '.join(own)})"))
        self._out("")


def _own(known: list[str], lines: list[str]) -> list[str]:
    return [line for line in lines if line not in known]


def _wrapped(line: str) -> str:
    if len(line) <= WIDTH - len(INDENT):
        return f"{INDENT}{line}".rstrip()
    import textwrap

    return textwrap.fill(line, WIDTH, initial_indent=INDENT, subsequent_indent=INDENT, replace_whitespace=False)


class Progress:
    """The simulated time in place on a terminal, for a run that prints nothing else."""

    def __init__(self, clock: Clock, *, shown: bool) -> None:
        self._clock = clock
        self._shown = shown

    def update(self) -> None:
        self._show(f"{self._clock.now():%a %-d %b %Y, %H:%M} UTC")

    def close(self) -> None:
        self._show("")

    def _show(self, words: str) -> None:
        if self._shown:
            click.echo(f"\r\x1b[K{words}", nl=False, err=True)
