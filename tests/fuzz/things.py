"""What is fed to readers: what they take, broken in small ways, mixed with what is hostile, and pure noise."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

from hypothesis import strategies as st

HOSTILE = (
    *("", " ", "\0", "\n", "\r\n", "\t", "\x1b[31m", "\ud800", "\u202e", "\u200b", "\ufeff", "e" + "\u0301" * 40),
    *("ﷺ", "İ", "ß", "٣", "１２", "²", "½", "Ⅷ", "−", "–", "👩\u200d🌾", "🇫🇷", "𝟙", "\U000e0001"),
    *(
        "nan",
        "inf",
        "-inf",
        "1e999",
        "0x10",
        "1_000",
        "-1",
        "+1",
        "00",
        "1,5",
        "1.200",
        "1,200.5",
        "9" * 5000,
        "1" * 400,
    ),
    *("2026-02-30", "9999-12-31", "0000-00-00", "03/04", "24:00", "25:61", "02:30", "yesterday", "in 99999999999 days"),
    *("<!channel>", "<@U1>", "<https://a|b>", "|", "%", "_", "\\", "'", '"', "`", "{0.__class__}", "%s", "{{7*7}}"),
    *("=1+1", "@x", "../../x", "C:\\x", "CON", "javascript:alert(1)", "<script>", "' or 1=1", "ignore your rules"),
    *("[" * 300, "{" * 300, "(" * 300, "a" * 5000, ", " * 500, "- " * 300, "\n" * 600, "&*!", "!!python/object:x"),
)
_ANY_TEXT = st.one_of(st.sampled_from(HOSTILE), st.text(max_size=30), st.text(st.characters(categories=["Cs", "Cf"])))


@st.composite
def near(draw: st.DrawFn, *examples: str) -> str:
    """Something that is taken, with up to four pieces of it cut out, doubled or replaced; sometimes noise alone."""
    if draw(st.integers(0, 9)) == 0:
        return "".join(draw(st.lists(_ANY_TEXT, max_size=5)))
    text = draw(st.sampled_from(examples))
    for _ in range(draw(st.integers(0, 4))):
        begin, end = sorted((draw(st.integers(0, len(text))), draw(st.integers(0, len(text)))))
        middle = draw(st.one_of(_ANY_TEXT, st.just(""), st.just(text[begin:end] * 2), st.sampled_from(examples)))
        text = text[:begin] + middle + text[end:]
    return text


def near_bytes(*examples: str) -> st.SearchStrategy[bytes]:
    """The same as bytes; now and then in another encoding, or bytes alone."""
    encodings = st.sampled_from(["utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1"])
    told = st.tuples(near(*examples), encodings).map(lambda both: both[0].encode(both[1], "replace"))
    return st.one_of(told, told, told, st.binary(max_size=200))


ANYTHING = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), _ANY_TEXT, st.just(2**70)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(_ANY_TEXT, inner, max_size=4)),
    max_leaves=8,
)
"""Any value of JSON, and what is none."""


@st.composite
def near_value(draw: st.DrawFn, *examples: Any) -> Any:
    """A value of JSON that is taken, with up to three of its parts left out or replaced."""
    value = deepcopy(draw(st.sampled_from(examples)))
    for _ in range(draw(st.integers(0, 3))):
        holder, key = draw(st.sampled_from(_places(value) or [(value, None)]))
        if key is None:
            return draw(ANYTHING)
        if draw(st.integers(0, 3)) == 0:
            del holder[key]
        else:
            holder[key] = deepcopy(draw(st.one_of(ANYTHING, _ANY_TEXT, st.sampled_from(examples))))
    return value


def _places(value: Any) -> list[tuple[Any, Any]]:
    """(holder, key) of every part."""
    keys: Sequence[Any] = (
        range(len(value)) if isinstance(value, list) else list(value) if isinstance(value, dict) else ()
    )
    return [place for key in keys for place in ((value, key), *_places(value[key]))]


def near_json(*examples: Any) -> st.SearchStrategy[str]:
    """Such a value as text, or such a text broken as text is."""
    texts = tuple(json.dumps(example) for example in examples)
    as_text = near_value(*examples).map(_dumped)
    return st.one_of(as_text, as_text, near(*texts))


def _dumped(value: Any) -> str:
    return json.dumps(value, skipkeys=True, default=str)


def fields(*names: str) -> st.SearchStrategy[Mapping[str, str]]:
    """A form's fields, some of them missing, some made up."""
    return st.dictionaries(st.one_of(st.sampled_from(names), _ANY_TEXT), near("a text", "3", "2026-03-02"), max_size=8)
