"""A thief who knows this program and its schema by heart, and wants to know one thing: who wrote which note.

Each way in names writers of notes by their text. What is only likely is not named: a name is a proof.
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

from coldframe.chat.room.schema import SEALED
from coldframe.domain.order import shuffled
from coldframe.store.sealing import CannotUnseal, Seal, key_of, tag
from tests.secrecy.loot import Loot, Row

Named = set[tuple[str, str]]
"""(text of a note, who wrote it)"""
OVERHEAD = 28  # bytes that a seal adds
NEAR = 400  # bytes
A_MINUTE = 60_000  # milliseconds


@dataclass(frozen=True)
class Thief:
    """`after`: what stands after the reveal; `before`: earlier copies, oldest first; `people`: the team, by its ids."""

    people: Sequence[str]
    after: Loot
    before: Sequence[Loot] = ()

    def named(self) -> dict[str, Named]:
        """What each way in proves."""
        ways: dict[str, Callable[[], Named]] = {
            "opened": self.opened, "ids": self.by_ids, "moments": self.by_moments, "hashes": self.by_hashes,
            "order": self.by_order, "lengths": self.by_lengths, "messages": self.by_messages, "raw": self.by_raw,
            "counts": self.by_counts, "room": self.by_room,
        }  # fmt: skip
        return {way: found for way, find in ways.items() if (found := find())}

    # --- what is known after the reveal ---

    def notes(self) -> dict[str, str]:
        """Texts of all notes that everybody can read, by their ids."""
        return self._notes

    @cached_property
    def _notes(self) -> dict[str, str]:
        docs = [json.loads(row["doc"]) for row in self.after.tables["rounds"]]
        return {note["id"]: note["text"] for doc in docs for note in doc["notes"].values()}

    def _loots(self) -> Iterator[Loot]:
        yield from (*self.before, self.after)

    def _people_in(self, *values: object) -> set[str]:
        return _words(*values).intersection(self.people)

    # --- ways in ---

    def opened(self) -> Named:
        """Everything sealed, with the secret and every key that was found anywhere."""
        keys = {key for loot in self._loots() for key in loot.keys.values()}
        found: Named = set()
        for loot in self._loots():
            for name, body in _sealed(loot):
                for key in (None, *(k for k in keys if k.id == key_of(body))):
                    with suppress(CannotUnseal):
                        plain = Seal(loot.secret).open(name, body, key).decode("utf-8", "replace")
                        found |= self._told_by(plain)
        return found

    def _told_by(self, plain: str) -> Named:
        """A text beside exactly one person."""
        people = self._people_in(plain)
        texts = [text for text in self.notes().values() if json.dumps(text, ensure_ascii=False)[1:-1] in plain]
        return {(text, person) for text in texts for person in people} if len(people) == 1 else set()

    def by_ids(self) -> Named:
        """A row that names the note and a person."""
        return {
            (text, person)
            for loot in self._loots()
            for table, row in _rows(loot)
            if table not in ("rounds", "register")
            for note, text in self.notes().items()
            if any(note in str(value) for value in row.values())
            for person in self._people_in(*row.values())
        }

    def by_moments(self) -> Named:
        """What became true of a note at the same millisecond as what somebody did, where only one did anything then."""
        did: dict[int, set[str]] = {}
        for loot in self._loots():
            for table, row in _rows(loot):
                if table in ("inbox", "outbox", "nudges", "due"):
                    for moment in (row.get("at"), row.get("try_at")):
                        if isinstance(moment, int):
                            did.setdefault(moment, set()).update(self._people_in(*row.values()))
        found: Named = set()
        for loot in self._loots():
            for row in loot.tables["facts"]:
                record = json.loads(row["record"])
                text = self.notes().get(record.get("note", ""))
                if text is not None and len(did.get(row["at"], ())) == 1:
                    found.add((text, *did[row["at"]]))  # type: ignore[arg-type]
        return found

    def by_hashes(self) -> Named:
        """Hashes of persons and notes that the secret, or a key at hand, makes again."""
        secrets = [loot.secret for loot in self._loots()]
        secrets += [key.secret for key in self.after.keys.values()]
        cells = {str(v) for loot in self._loots() for _, row in _rows(loot) for v in row.values()}
        rounds = [str(row["id"]) for row in self.after.tables["rounds"]]
        found: Named = set()
        for secret, (note, text) in itertools.product(secrets, self.notes().items()):
            for person, round_id in itertools.product(self.people, rounds):
                words = [(round_id, person, note), (person, note), ("late", person, note), (round_id, note, person)]
                hashes = {Seal(secret).tag(*w) for w in words} | {tag(secret, *w) for w in words}
                if cells & (hashes | {h[:32] for h in hashes} | {f"~{h[:32]}" for h in hashes}):
                    found.add((text, person))
        return found

    def by_order(self) -> Named:
        """The order of the reveal, made again from the names that notes had before and the seed of the round."""
        found: Named = set()
        for loot, row in itertools.product(self.before, self.after.tables["rounds"]):
            doc = json.loads(row["doc"])
            before = [str(r["item"]) for r in loot.tables["sealed"] if r["kind"] == "note"]
            if len(before) != len(doc["revealed"]):
                continue
            writers = self._writers_in_order(loot)
            if len(writers) == len(before) and before == sorted(before):  # rows tell nothing of their order
                continue
            again = shuffled(before, doc["seed"], "reveal")
            if list(again) == doc["revealed"] or set(before) & set(doc["revealed"]):
                who = dict(zip(before, writers, strict=False))
                found |= {
                    (self.notes()[new], who[old]) for old, new in zip(again, doc["revealed"], strict=True) if old in who
                }
        return found

    def _writers_in_order(self, loot: Loot) -> list[str]:
        """Who gave something, one after the other, as far as keys of happenings say so."""
        found = [self._people_in(row["key"]) for row in loot.tables["inbox"]]
        return [next(iter(people)) for people in found if len(people) == 1]

    def by_lengths(self) -> Named:
        """A sealed row of a length that one note alone can have, and somebody who gave it."""
        found: Named = set()
        for loot in self.before:
            writers = self._writers_in_order(loot)
            rows = [row for row in loot.tables["sealed"] if row["kind"] == "note"]
            if len(writers) != len(rows):
                continue
            for row, writer in zip(rows, writers, strict=True):
                size = len(row["body"]) - OVERHEAD
                fitting = [t for t in self.notes().values() if 0 < size - len(t.encode()) < NEAR]
                if len(fitting) == 1:
                    found.add((fitting[0], writer))
        return found

    def by_messages(self) -> Named:
        """Whereabouts of messages that stand only where somebody wrote: a draft, a late note, a hint, a consent. With
        one such person and one such note it is a proof."""
        found: Named = set()
        for loot in self._loots():
            for table in ("posts", "outbox", "due"):
                late = {
                    person
                    for row in loot.tables[table]
                    if re.search(r"/(late|draft|consent|say)/", " ".join(map(str, row.values())))
                    for person in self._people_in(*row.values())
                }
                for text in self._came_late(loot) if len(late) == 1 else ():
                    found.add((text, *late))  # type: ignore[arg-type]
        return found

    def _came_late(self, loot: Loot) -> list[str]:
        """Notes that were not among those of the reveal."""
        if loot is self.after:
            return []
        docs = [json.loads(row["doc"]) for row in loot.tables["rounds"]]
        had = {note["text"] for doc in docs for note in doc["notes"].values()}
        return [text for text in self.notes().values() if text not in had] if had else []

    def by_raw(self) -> Named:
        """Free pages, log and all: a note's name or text near a person's."""
        found: Named = set()
        for loot, (note, text) in itertools.product(self._loots(), self.notes().items()):
            for what in (note.encode(), text.encode()):
                for place in _places(loot.raw, what):
                    around = loot.raw[max(0, place - NEAR) : place + len(what) + NEAR].decode("latin-1")
                    if re.search(r'"author": ?"\w', around):
                        found |= {(text, person) for person in self._people_in(around)}
        return found

    def by_counts(self) -> Named:
        """Where by an earlier copy only one person can have written anything, all that stood sealed then is theirs."""
        found: Named = set()
        for loot in self.before:
            writers = set(self._writers_in_order(loot))
            rows = [row for row in loot.tables["sealed"] if row["kind"] == "note"]
            if len(writers) == 1 and len(rows) == len(self.notes()):
                found |= {(text, *writers) for text in self.notes().values()}  # type: ignore[misc]
        return found

    def reminded(self) -> set[str]:
        """Who was reminded, and so had given nothing by then: by a row of reminders, or one that fell due as it was
        made. Where all but one were, that one is the writer."""
        found: set[str] = set()
        for loot in self._loots():
            found |= named_beside_private_rows(loot.room, self.people)
            for row in loot.tables["nudges"]:
                found |= self._people_in(*row.values())
                for due in loot.tables["due"]:
                    if due["kind"] == "remind" and abs(due["at"] - row["at"]) < A_MINUTE:
                        found |= self._people_in(due["occurrence"])
        return found

    def acted(self) -> set[str]:
        """Whose row of a direct message came or changed between two copies of the room's file, which are those of who
        did something or was told something then: by a name beside it; or, where rows are numbered as they came, since
        everybody was first told something in the order of the team."""
        found: set[str] = set()
        for before, after in itertools.pairwise(self._loots()):
            known = _directs(before)
            new = {number: row for number, row in _directs(after).items() if known.get(number) != row}
            found |= self._people_in(*(cell for row in new.values() for cell in row.values()))
            later = [number for number in new if number not in known]
            if known and later and min(later) > max(known):
                firsts = sorted(_directs(next(self._loots())))
                found |= {person for number, person in zip(firsts, self.people, strict=False) if number in new}
        return found

    def by_room(self) -> Named:
        """The chat service's own file, where the bot is its own: who wrote a line, or was shown one in private; and a
        row there at the very moment of one in the database that names the note."""
        found: Named = set()
        for loot in self._loots():
            rows = [row for rows in loot.room.values() for row in rows]
            read = [(" ".join(map(str, row.values())), "channel" in row.values()) for row in rows]
            people = [self._people_in(words) for words, _ in read]
            for note, text in self.notes().items():
                for (words, is_open), who in zip(read, people, strict=True):
                    if (text in words or note in words) and len(who) == 1 and not is_open:
                        found |= {(text, person) for person in who}
                told = {row["at"] for _, row in _rows(loot) if isinstance(row.get("at"), int) and note in str(row)}
                at_once = [self._people_in(row.get("author", "")) for row in rows if row.get("at") in told]
                if len(at_once) == 1 and len(at_once[0]) == 1:
                    found.add((text, *at_once[0]))  # type: ignore[arg-type]
        return found


_OPEN_TO_ALL = {"life", "people", "channels", "members", "reactions", "passes", "signins"}


def named_beside_private_rows(room: Mapping[str, Sequence[Row]], people: Sequence[str]) -> set[str]:
    """Who stands in a row of the room's own file that is not for everybody."""
    rows = [row for table, found in room.items() if table not in _OPEN_TO_ALL for row in found]
    cells = [cell for row in rows if row.get("kind") != "channel" for cell in row.values()]
    return _words(*filter(_is_text, cells)).intersection(people)


def _is_text(cell: object) -> bool:
    """Rather than sealed, which chance may make look like a name."""
    with suppress(UnicodeDecodeError):
        return not isinstance(cell, bytes) or bool(cell.decode())
    return False


def _words(*values: object) -> set[str]:
    return set(re.split(r"[^\w.-]+", " ".join(map(str, values))))


def _directs(loot: Loot) -> dict[int, Row]:
    """By how far from nought their numbers are."""
    return {abs(row["seq"]): row for row in loot.room.get("messages", ()) if row["kind"] == "direct"}


def _rows(loot: Loot) -> Iterator[tuple[str, Row]]:
    for table, rows in loot.tables.items():
        yield from ((table, row) for row in rows)


def _sealed(loot: Loot) -> Iterable[tuple[str, bytes]]:
    """Every sealed cell with the name to which it is bound."""
    for row in loot.tables["sealed"]:
        yield f"{row['round_id']}/{row['kind']}/{row['item']}", bytes(row["body"])
    for row in loot.tables["votes"]:
        yield f"{row['round_id']}/{row['ballot']}/{row['voter']}/{row['slot']}", bytes(row["body"])
    for name in ("outbox", "posts"):
        yield from ((name, bytes(row["body"])) for row in loot.tables[name] if row["body"] is not None)
    yield from ((f"trial/{row['id']}", bytes(row["private"])) for row in loot.tables["trials"])
    for table, column, known, before, behind, _ in SEALED:
        for row in loot.room.get(table, ()):
            if row.get(column) is not None and row.get("kind") != "channel" and row.get("about", b"") is not None:
                yield f"{before}{row[known]}{behind}", bytes(row[column])


def _places(raw: bytes, what: bytes) -> Iterator[int]:
    at = raw.find(what)
    while at >= 0:
        yield at
        at = raw.find(what, at + 1)
