"""Weekly numbers as people write them in a line: `control 1200/48, trial 1180/61`. Pure; nothing is guessed.

Both decimal marks are read. A number with two usual readings (1,200 as a mean) is asked about. People come before those
who did it (`1200/48`), or after `of` (`48 of 1200`); the other way round is asked about, never turned in silence.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any, Literal

from coldframe.domain.state import TWO_GROUPS, ComparisonKind
from coldframe.domain.trial.state import Figures, WeekWord
from coldframe.engine.reading import Unreadable
from coldframe.engine.reading.numbers import MARKS, SPACE, decimal, whole
from coldframe.speech import reading_words as words

MAX_LINE = 300  # characters
EXAMPLES: dict[ComparisonKind, str] = {
    "split": "control 1200/48, trial 1180/61",
    "before-after": "1180/61",
    "count": "7",
    "mean": "control 20.5/15/300, trial 22.1/14.8/310",
    "rate": "control 1200/48, trial 1180/61",
    "share": "1180/61",
}
"""People, then those who did it; a count; mean, standard deviation, people; units, then events."""

_DIGITS = rf"-?\d+(?:[{MARKS}]\d+|{SPACE}\d{{3}}(?!\d))*"
_WEEK = re.compile(r"^\s*(?:week|w)\s*(\d{1,3})\s*[:,.–-]?\s*(?=\S|$)", re.IGNORECASE)
_GROUP = re.compile(r"\b(control|without|trial|with)\b\s*[:=]?", re.IGNORECASE)
_BETWEEN = re.compile(r"\s*(?:/|;|\bout of\b|\bof\b|\bsd\b|±|\+/-|\bn\b\s*=?|\bpeople\b)\s*", re.IGNORECASE)
_GUARD = re.compile(
    rf"(?:^|[\s,;.])\s*(?:harm\s*[:=]?\s*(?P<harm>{_DIGITS}\s*%?)|(?P<stop>(?:stop line )?crossed|stop line|stop)"
    r"|(?P<calm>nothing(?: happened)?|no harm))\s*[.]?\s*$",
    re.IGNORECASE,
)
"""At the end of a line, behind the numbers: `harm 3`, `stop line crossed`, `nothing happened`."""
_OF = re.compile(r"\bof\b", re.IGNORECASE)
_GAP = re.compile(r"^(?:gap|broken|no numbers?|lost|partial|half a week)\b[\s:,.–-]*(.*)$", re.IGNORECASE | re.DOTALL)
_NAMES: dict[str, Literal["control", "trial"]] = {
    "control": "control", "without": "control", "trial": "trial", "with": "trial",
}  # fmt: skip


class Doubtful(Unreadable):
    """It can be read in one other way; `instead` is the line that would mean it."""

    def __init__(self, sentence: str, instead: str) -> None:
        super().__init__(sentence)
        self.instead = instead


@dataclass(frozen=True, slots=True)
class Written:
    """What a line says. `week` None: the earliest week that is over and not logged."""

    week: int | None
    trial: Figures | None
    control: Figures | None = None
    state: WeekWord = "whole"
    reason: str = ""
    harm: float | None = None
    stop: bool = False
    calm: bool = False


def looks_like_numbers(text: str) -> bool:
    """Whether a text is meant as a week's numbers: in one line, groups and numbers, perhaps with the week in front."""
    line = text.strip()
    if not line or "\n" in line or len(line) > MAX_LINE or line[0] in "+-–−":
        return False
    bare = _GUARD.sub("", line)
    if bare and bare != line:
        return looks_like_numbers(bare)
    rest = _WEEK.sub("", line)
    if re.match(r"^(control|trial)\b", rest, re.IGNORECASE) and re.search(r"\d", rest):
        return True
    if re.match(r"^(without|with)\s*[:=]?\s*\d", rest, re.IGNORECASE):
        return True
    if rest != line and _GAP.match(rest):
        return True
    return re.fullmatch(rf"{_DIGITS}\s*%?(?:\s*(?:/|of|out of)\s*{_DIGITS}){{0,2}}\s*", rest, re.IGNORECASE) is not None


def read_line(text: str, kind: ComparisonKind) -> Written:
    """The week and its figures, and at its end harm and stop line. Raises Unreadable, or Doubtful when one other
    reading is likely."""
    line, guards = _without_guards(text.strip())
    try:
        return replace(_read_line(line, kind), **guards)
    except Doubtful as doubt:
        raise Doubtful(str(doubt), f"{doubt.instead}{text.strip()[len(line) :]}") from None


def _without_guards(line: str) -> tuple[str, dict[str, Any]]:
    """The line without what it says of harm and stop line at its end, and that."""
    found: dict[str, Any] = {}
    while said := _GUARD.search(line):
        if said["harm"]:
            found["harm"] = decimal(said["harm"])
        elif said["stop"]:
            found["stop"] = True
        else:
            found["calm"] = True
        line = line[: said.start()].rstrip()
    return line, found


def _read_line(line: str, kind: ComparisonKind) -> Written:
    if len(line) > MAX_LINE or "\n" in line:
        raise Unreadable(words.one_line(EXAMPLES[kind]))
    week, rest = _week(line)
    lost = _GAP.match(rest)
    if lost:
        state: WeekWord = "partial" if rest.lower().startswith(("partial", "half")) else "broken"
        return Written(week, None, None, state, lost[1].strip())
    groups = _groups(rest, kind)
    if kind in TWO_GROUPS:
        for name in ("control", "trial"):
            if name not in groups:
                raise Unreadable(words.group_missing(name, EXAMPLES[kind]), name)
        return Written(week, figures(groups["trial"], kind, line), figures(groups["control"], kind, line))
    return Written(week, figures(groups["trial"], kind, line))


def _week(line: str) -> tuple[int | None, str]:
    found = _WEEK.match(line)
    return (int(found[1]), line[found.end() :]) if found else (None, line)


def _groups(rest: str, kind: ComparisonKind) -> dict[str, str]:
    """The text of each group by its name; a line without names is the trial's."""
    pieces = _GROUP.split(rest)
    out: dict[str, str] = {}
    before = pieces[0].strip(" ,;.")
    if before:
        if len(pieces) > 1 or kind in TWO_GROUPS:
            raise Unreadable(words.unreadable(before[:40], EXAMPLES[kind]))
        out["trial"] = before
    for name, text in zip(pieces[1::2], pieces[2::2], strict=True):
        key = _NAMES[name.lower()]
        if key in out:
            raise Unreadable(words.group_twice(key, EXAMPLES[kind]), key)
        out[key] = text.strip().strip(",;. ")
    if "control" in out and kind not in TWO_GROUPS:
        raise Unreadable(words.no_control_group(EXAMPLES[kind]), "control")
    if "trial" not in out and kind not in TWO_GROUPS:
        raise Unreadable(words.no_number_found(EXAMPLES[kind]), "trial")
    return out


def figures(text: str, kind: ComparisonKind, line: str = "") -> Figures:
    """One group's numbers. `line` is the whole line, for the question back."""
    parts = [p for p in _BETWEEN.split(text) if p.strip()]
    match kind, len(parts):
        case ("count", 1):
            return Figures(whole(parts[0]))
        case ("before-after", 1):
            return Figures(decimal(parts[0]))
        case (("split" | "before-after" | "share"), 2):
            return _share(text, parts, line or text)
        case ("rate", 2):
            first, second = whole(parts[0]), whole(parts[1])
            return Figures(first, second) if _OF.search(text) else Figures(second, first)
        case ("mean", 3):
            return Figures(decimal(parts[0]), whole(parts[2]), decimal(parts[1]))
    raise Unreadable(words.unreadable(text.strip()[:60], EXAMPLES[kind]))


def _share(text: str, parts: list[str], line: str) -> Figures:
    first, second = whole(parts[0]), whole(parts[1])
    if _OF.search(text):
        return Figures(first, second)
    if second > first:
        raise Doubtful(words.more_than_people(parts[1].strip(), parts[0].strip()), _turned(line))
    return Figures(second, first)


def _turned(line: str) -> str:
    """The line with every pair the other way round in which fewer people stand before more."""

    def turn(pair: re.Match[str]) -> str:
        first, second = whole(pair[1]), whole(pair[2])
        return f"{pair[2]}/{pair[1]}" if second > first else pair[0]

    return re.sub(rf"({_DIGITS})\s*/\s*({_DIGITS})", turn, line)
