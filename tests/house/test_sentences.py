"""Sentences live in speech: elsewhere in the house of rules and uses no text stands that a person could read."""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from pathlib import Path

import coldframe

WORDS_OF_A_SENTENCE = 3
TO_NO_PERSON = {"count", "note_number", "info", "warning", "error", "match", "fullmatch", "compile", "sub", "search"}
"""Calls whose texts are names of counters, events of the log, or patterns."""
NOT_SHOWN: dict[str, str] = {
    "engine/core/lookups.py": "an error that its own caller answers by asking the platform",
    "engine/core/trial_turn.py": "an error that no calendar of the program leads to",
    "engine/delivery/outbox.py": "why a send stands aside, for those who run the bot",
    "engine/reading/asked_words.py": "words of a question as it is typed, to be read",
    "engine/reading/dates.py": "a date as it is written, to be read",
    "engine/worker/explaining.py": "codes of the corners",
    "domain/names.py": "sentences that earlier databases hold, to be read",
    "domain/round/life.py": "the diagram for developers",
    "domain/trial/life.py": "the diagram for developers",
    "domain/who_may.py": "the table for developers",
}
"""Files with texts of three words and more that no sentence is, and why."""


def _sentences(source: str) -> Iterator[tuple[int, str]]:
    """Texts of several words that are neither docstrings, nor codes of an enumeration, nor names for the log."""
    tree = ast.parse(source)
    passed_over = {id(text) for node in ast.walk(tree) for text in _to_pass_over(node)}
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) and id(node) not in passed_over else None
        if isinstance(text, str) and _words(text) >= WORDS_OF_A_SENTENCE and not _is_code(text):
            yield node.lineno, text


def _words(text: str) -> int:
    return len(re.findall(r"[A-Za-z][a-z’']+", text))


def _is_kind(node: ast.AST) -> bool:
    """A few small words, as rows are called."""
    return isinstance(node, ast.Constant) and re.fullmatch(r"[a-z]+( [a-z]+){2}", str(node.value)) is not None


def _is_code(text: str) -> bool:
    """A name in one word, a pattern, or the name of an occasion (`resting/looked after`)."""
    return " " not in text or "\\" in text or "|" in text or re.match(r"[a-z]+/", text) is not None


def _to_pass_over(node: ast.AST) -> Iterator[ast.AST]:
    match node:
        case ast.Expr(value=ast.Constant()):
            yield node.value
        case ast.ClassDef() if any("Enum" in ast.unparse(base) for base in node.bases):
            yield from ast.walk(node)
        case ast.Assign() if ast.unparse(node.targets[0]).isupper():  # names of due rows: `CLOSE = "close by hand"`
            yield from filter(_is_kind, ast.walk(node.value))
        case ast.Subscript(value=ast.Name(id="Literal")):
            yield from ast.walk(node)
        case ast.Call() if ast.unparse(node.func).rpartition(".")[2] in TO_NO_PERSON:
            yield from ast.walk(node)
        case _:
            pass


@functools.cache
def _found() -> dict[str, list[tuple[int, str]]]:
    top = Path(coldframe.__file__).parent
    files = [file for floor in ("engine", "domain") for file in sorted((top / floor).rglob("*.py"))]
    found = {file.relative_to(top).as_posix(): list(_sentences(file.read_text("utf-8"))) for file in files}
    return {name: sentences for name, sentences in found.items() if sentences}


def test_no_sentence_stands_in_engine_or_domain() -> None:
    """What is said is found, read aloud and translated in one place."""
    assert {name: said for name, said in _found().items() if name not in NOT_SHOWN} == {}


def test_no_exception_is_left_over() -> None:
    """A file that needs none any more is taken from the list."""
    assert NOT_SHOWN.keys() - _found().keys() == set()


def test_a_sentence_would_be_found() -> None:
    """And a docstring, a code or a counter would not."""
    source = '''
class Why(StrEnum):
    GONE = "nobody is here any more"
def told(turn):
    """A docstring of several words."""
    turn.count("reminders dropped for good")
    turn.answer(f"The group {turn} is not here.")
'''
    assert [words for _, words in _sentences(source)] == [" is not here."]
