"""What the others did in a rehearsal, in a sentence: a person who rehearses alone cannot see it happen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from coldframe.message.plain import count, joined

_WHAT = {
    "note": "note", "late": "late note", "dots": "dot", "ballot": "vote", "compare": "comparison",
    "question": "question", "precedent": "precedent", "plan": "plan", "merge": "answer about duplicates",
    "forecast": "forecast",
}  # fmt: skip
"""By the second part of a job's key."""
_NO_VOTE = ("done", "lock", "lines", "close")  # the last part of keys of acts that give nothing


def summed(keys: Iterable[str], names: Mapping[str, str]) -> str:
    """`keys` are those of jobs that were done, `names` people by id."""
    parts = [key.split("/") for key in keys]
    who = list(dict.fromkeys(names[part[0]] for part in parts if part[0] in names))
    if not who:
        return "The others have nothing to do here just now."
    given = Counter(_WHAT[part[1]] for part in parts if part[1] in _WHAT and part[-1] not in _NO_VOTE)
    told = ", ".join(count(number, what) for what, number in given.items())
    people = joined(who)
    return f"{people} did their part: {told}." if told else f"{people} did their part."
