"""`coldframe duplicates FILE`: proposes which notes of a file say the same, for a person to confirm."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from pydantic import BaseModel, ValidationError

from coldframe import wrong_values
from coldframe.speech.round import likeness_words

if TYPE_CHECKING:  # it loads numpy, see `_encoder`
    from coldframe.analysis.similarity import Encoder, Proposal

MAX_NOTES = 1000  # notes of one file
MOST_FAULTS = 10  # that are told at once
PAIR = 2  # notes
SHOWN = 100
"""Characters of a note that --why shows."""


class Note(BaseModel):
    """One note; notes of different sides are never proposed."""

    id: str
    text: str
    side: str | None = None


class Board(BaseModel):
    """Notes that are compared with each other."""

    board_id: str
    notes: list[Note]


class Boards(BaseModel):
    """The JSON form of the file."""

    boards: list[Board]


@click.command()
@click.argument("file", metavar="FILE")
@click.option(
    "--meaning/--words",
    default=None,
    help="Compare by meaning too, with the extra 'meaning', or by words alone; by default what is there.",
)
@click.option("--most", type=click.IntRange(min=0), help="Proposals a board at most, the surest.")
@click.option("--why", is_flag=True, help="Print the pairs with their notes and reasons instead of JSON.")
def command(file: str, meaning: bool | None, most: int | None, why: bool) -> None:
    """Propose which notes of FILE say the same, surest first.

    FILE holds one note a line, or boards as JSON:

        {"boards": [{"board_id": "b1", "notes": [{"id": "n1", "text": "...", "side": "driving"}]}]}

    "side" may be left out; notes of different sides are never proposed. Of a plain file, a note's id is the number of
    its line. "-" reads from standard input. Two notes come as a pair, more as a group, from even odds on. A proposal is
    a question to a person: rewordings that share no word are mostly missed, and some pairs only share a theme.
    """
    boards = _boards(file)
    encoder = _encoder(meaning)
    found = [(board, _propose(board, most, encoder)) for board in boards]
    if why:
        click.echo("\n".join(chain.from_iterable(_explained(board, proposals) for board, proposals in found)))
    else:
        click.echo(json.dumps({"proposals": [_as_ids(board, proposals) for board, proposals in found]}, indent=1))


def _boards(file: str) -> list[Board]:
    text = _read(file)
    if file.endswith(".json") or text.lstrip().startswith("{"):
        boards = _parsed(file, text)
    else:
        lines = enumerate(text.split("\n"), start=1)
        notes = [Note(id=str(number), text=line.rstrip("\r")) for number, line in lines if line.strip()]
        boards = [Board(board_id="standard input" if file == "-" else Path(file).name, notes=notes)]
    for board in boards:
        _check(file, board)
    _check_ids(file, "board_id", [board.board_id for board in boards])
    return boards


def _read(file: str) -> str:
    try:
        with click.open_file(file, "rb") as stream:
            text: str = stream.read().decode("utf-8-sig")
    except OSError as error:
        raise click.ClickException(f"{file}: {error.strerror or error}") from error
    except ValueError as error:  # not UTF-8, or a name that no file can have
        raise click.ClickException(f"{file}: is no text in UTF-8") from error
    return text


def _parsed(file: str, text: str) -> list[Board]:
    try:
        return Boards.model_validate(json.loads(text)).boards
    except json.JSONDecodeError as error:
        raise click.ClickException(f"{file}, line {error.lineno}: here the file cannot be read as JSON") from error
    except RecursionError:
        raise click.ClickException(f"{file}: is nested too deeply") from None
    except ValidationError as error:
        raise click.ClickException(
            "\n".join(f"{file}: {_fault(one)}" for one in error.errors()[:MOST_FAULTS])
        ) from error


def _fault(fault: Any) -> str:
    return f"{'.'.join(map(str, fault['loc'])) or 'the whole'} {wrong_values.said(fault)}"


def _check(file: str, board: Board) -> None:
    if len(board.notes) > MAX_NOTES:
        raise click.ClickException(
            f"{file}: {board.board_id}: {len(board.notes)} notes; at most {MAX_NOTES} are compared"
        )
    _check_ids(file, f"{board.board_id}: id", [note.id for note in board.notes])


def _check_ids(file: str, name: str, ids: list[str]) -> None:
    twice = [one for one, times in Counter(ids).items() if times > 1]
    if twice:
        raise click.ClickException(f"{file}: {name} “{twice[0]}” stands there twice")


def _encoder(wanted: bool | None) -> Encoder | None:
    """Raises NoEncoder where it is asked for and not there."""
    from coldframe.meaning import encoder, limit_threads, load_encoder  # heavy: the encoder; threads only before numpy

    limit_threads()
    if wanted is False:
        return None
    return load_encoder() if wanted else encoder()


def _propose(board: Board, most: int | None, encoder: Encoder | None) -> list[Proposal]:
    from coldframe.analysis.similarity import propose  # heavy: numpy, after its threads are limited

    texts = [note.text for note in board.notes]
    return propose(texts, [note.side or "" for note in board.notes], most, encoder=encoder)


def _as_ids(board: Board, proposals: list[Proposal]) -> dict[str, object]:
    sets = [[board.notes[place].id for place in proposal.notes] for proposal in proposals]
    pairs, groups = [s for s in sets if len(s) == PAIR], [s for s in sets if len(s) > PAIR]
    return {"board_id": board.board_id, "pairs": pairs, "groups": groups}


def _explained(board: Board, proposals: list[Proposal]) -> Iterator[str]:
    count = "1 proposal" if len(proposals) == 1 else f"{len(proposals) or 'no'} proposals"
    yield f"{_shown(board.board_id)}: {count} among {len(board.notes)} notes"
    for proposal in proposals:
        lines = [f"{_shown(note.id)}: {_shown(note.text)}" for note in (board.notes[place] for place in proposal.notes)]
        yield from (f"  {proposal.chance:.2f}  {lines[0]}", *(f"        {line}" for line in lines[1:]))
        yield f"        {likeness_words.why(proposal.why)}"


def _shown(text: str) -> str:
    # Notes are strangers' text: control characters could rewrite what stands on the terminal.
    plain = " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
    return plain if len(plain) <= SHOWN else plain[: SHOWN - 1] + "…"
