"""`python -m tests.words [READER ...]`: every sentence that the bot can say, with sample values, by who reads it.

The sentences are read out of the source: whatever stands between quotes in `bot/coldframe/speech`, and for whoever runs
the bot in `cli`, and has words in it; so none is left out because nothing has said it yet. What stands in braces is
filled in by what the source gives for it, else by its name. `tests/speech/test_plain_words.py` holds what a machine can
check of the style.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import coldframe

SPEECH = Path(coldframe.__file__).parent / "speech"
CLI = SPEECH.parent / "cli"
READERS = ("participant", "facilitator", "decision-maker", "owner", "lead", "channel", "operator")
BY_MODULE: Mapping[str, str] = {
    "answers": "participant", "data_words": "participant", "handed_back": "participant", "names": "participant",
    "over_words": "participant", "panel_words": "participant", "person_guides": "participant",
    "reading_words": "participant",
    "refusals": "participant", "room_words": "participant", "steps": "channel", "surface": "participant",
    "people": "participant", "people/restored_words": "channel", "register": "lead",
    "register/register_words": "participant", "register/round_data": "facilitator", "round": "participant",
    "round/cards": "channel", "round/commitment_words": "channel", "round/correcting_words": "facilitator",
    "round/odds_words": "owner", "round/criterion_forms": "participant",
    "round/forms": "participant", "round/late_words": "participant", "round/readiness_words": "facilitator",
    "round/reopening_words": "facilitator", "round/results": "channel", "round/setup_words": "facilitator",
    "round/size_words": "channel", "round/pass_words": "channel", "round/undelivered": "facilitator",
    "round/undoing_words": "decision-maker", "round/likeness_words": "facilitator", "trial": "owner",
    "trial/review_words": "channel", "trial/verdict_words": "channel", "trial/sizing_report": "participant",
    "trial/forecast_words": "participant", "trial/signing_words": "participant",
}  # fmt: skip
"""Who reads what a module says, where its functions do not tell; the longest name that fits."""
TOLD_BY = (
    ("facilitator", r"to the facilitator|^(merge_|questions_)?desk:"),
    ("decision-maker", r"to the decision-maker"),
    ("owner", r"to the owner|to its owner"),
    ("lead", r"to the lead\b"),
    ("channel", r"(in|to) the (channel|team)|for the channel"),
    ("participant", r"to (a|one|each|some|whoever|the deputy|the person|the voter|an? author|who )"),
)
"""What a function's first line says of who reads it."""

Node = ast.AST


@dataclass(frozen=True)
class Said:
    """One piece of text between quotes. `template` as it is written, `sample` with values in it."""

    where: str
    reader: str
    template: str
    sample: str
    kind: str
    """`button`, `field`, `title` or `text`."""

    @property
    def words(self) -> int:
        return len(self.sample.split())


@cache
def all_said() -> tuple[Said, ...]:
    """Of every module, in the order of the source."""
    of_bot = (said for path in sorted(SPEECH.rglob("*.py")) for said in _of(path, SPEECH))
    return (*of_bot, *(said for path in sorted(CLI.rglob("*.py")) for said in _of(path, CLI)))


def _of(path: Path, folder: Path) -> Iterator[Said]:
    module = path.relative_to(folder).with_suffix("").as_posix()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for top in tree.body:
        if isinstance(top, ast.Import | ast.ImportFrom | ast.Expr):
            continue
        name = getattr(top, "name", "") or _assigned(top)
        reader = "operator" if folder == CLI else _reader(module, top)
        yield from (
            Said(f"{module}.{name}", reader, template, filled(template, given), kind)
            for template, given, kind in _Texts().found(top)
        )


def _assigned(top: ast.stmt) -> str:
    targets = top.targets if isinstance(top, ast.Assign) else [getattr(top, "target", None)]
    return next((ast.unparse(t) for t in targets if t is not None), "")


def _reader(module: str, top: ast.stmt) -> str:
    told = ast.get_docstring(top) if isinstance(top, ast.FunctionDef | ast.ClassDef) else None
    first = f"{getattr(top, 'name', '')}: {told or ''}".splitlines()[0].lower()
    for reader, pattern in TOLD_BY:
        if re.search(pattern, first):
            return reader
    return next((BY_MODULE[m] for m in _above(module) if m in BY_MODULE), "participant")


def _above(module: str) -> Iterator[str]:
    yield module
    while "/" in module:
        module = module.rpartition("/")[0]
        yield module


# --- what is a text -------------------------------------------------------------------------------------------------

CODE = re.compile(r"[\w.:/%+-]*|[\w-]+(\.[\w-]+)+")
LABELS = {"Button": (0, "button"), "Field": (1, "field"), "Option": (1, "field"), "Form": (0, "title")}
NOT_SAID = {"action", "value", "style", "shape", "kind", "name", "name_of_file", "media_type"}


class _Texts(ast.NodeVisitor):
    """The texts below a node, each with what its braces are given and what it is."""

    def __init__(self) -> None:
        self._found: list[tuple[str, Mapping[str, Node], str]] = []
        self._docs: set[int] = set()

    def found(self, top: ast.stmt) -> list[tuple[str, Mapping[str, Node], str]]:
        for node in ast.walk(top):
            body = getattr(node, "body", None)
            for one in body if isinstance(body, list) else ():
                if isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant):
                    self._docs.add(id(one.value))
        self.visit(top)
        return self._found

    def visit_Call(self, node: ast.Call) -> None:
        called = ast.unparse(node.func).rpartition(".")[2]
        given = {k.arg: k.value for k in node.keywords if k.arg}
        place, kind = LABELS.get(called, (-1, "text"))
        for number, argument in enumerate(node.args):
            label = number == place
            if label or called not in ("get", "about", "message_name", "of_review", "about_trial", "isinstance"):
                self._take(argument, given, kind if label else "text", label)
        for keyword in node.keywords:
            if keyword.arg not in NOT_SAID or called in ("line", "said", "told", "paragraph", "small", "heading"):
                self._take(keyword.value, {}, "text", keyword.arg in ("says", "confirm", "submit", "hint", "label"))
        self.visit(node.func)

    def _take(self, node: Node, given: Mapping[str, Node], kind: str, always: bool) -> None:
        template = _text(node)
        if template is None:
            if isinstance(node, ast.IfExp):
                self.visit(node.test)
                self._take(node.body, given, kind, always)
                self._take(node.orelse, given, kind, always)
            else:
                self.visit(node)
        elif id(node) not in self._docs and (_is_said(template) or (always and template.strip())):
            self._found.append((template, given, kind))

    def visit_Constant(self, node: ast.Constant) -> None:
        self._take(node, {}, "text", False) if isinstance(node.value, str) else None

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        self._take(node, {}, "text", False)

    def visit_Dict(self, node: ast.Dict) -> None:
        for value in node.values:
            self.visit(value)


def _text(node: Node) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            part.value if isinstance(part, ast.Constant) else "{" + ast.unparse(part.value) + "}"  # type: ignore
            for part in node.values
        )
    return None


def _is_said(text: str) -> bool:
    bare = re.sub(r"\{[^}]*\}", "", text)
    return bool(re.search(r"[A-Za-z]{2}", bare)) and not CODE.fullmatch(text) and " " in text.strip()


# --- sample values --------------------------------------------------------------------------------------------------

BY_SOURCE: tuple[tuple[str, str], ...] = (
    (r"When\(.*\"day\"\)", "Tue 7 Apr"), (r"When\(.*\"hour\"\)", "17:00"), (r"When\(", "today 17:00"),
    (r"\bwindow", "notes 16, plans 24"), (r"\btitle\(round_\.step\)|title\(step\)|step\.value", "Dots"),
    (r"lever", "Activation"), (r"question", "How might we greet new choirs in their first week?"),
    (r"round_?\.name|_name\(round|\br\.name", "Spring round"), (r"reason", "Half of our choirs never sing with us"),
    (r"\bwho\(|name_of|acting_name|_acting\(|_owner\(|_chief\(|person|member|\.by\b", "Jonas"),
    (r"role", "facilitator"),
    (r"sentence", "reached: 42% became 52%"), (r"plan|trial|title", "A first song in one minute"),
    (r"force|note|text|words|written", "Singers get their invitations only days later"),
    (r"stop_line", "more than 5% complain"), (r"100 \*|share|percent|chance|middle", "42"), (r"why", "too few people"),
    (r"len\(|sum\(|count|number|most|least|\bleft\b|weeks?\b", "3"),
)  # fmt: skip
BY_NAME: Mapping[str, str] = {
    "due": "today 17:00", "until": "today 17:00", "at": "today 17:00", "since": "Mon 9:00", "d": "Tue 7 Apr",
    "opens": "tomorrow 9:00", "earliest": "Mon 9:00", "latest": "Fri 17:00", "day": "Tue 7 Apr", "own": "today 17:00",
    "name": "Spring round", "round": "Spring round", "r": "Spring round", "step": "Dots", "which": "The dots step",
    "who": "Jonas", "m": "Jonas", "o": "Jonas", "a": "Jonas", "b": "Nadia", "to": "Lucía", "chief": "Owen",
    "facilitator": "Nadia", "role": "facilitator", "t": "A first song in one minute", "lever": "Activation",
    "title": "A first song in one minute", "n": "3", "all": "8", "most": "3", "least": "12", "fewest": "five",
    "dots": "3 dots", "votes": "2 votes", "trials": "2 trials", "carry": "5", "left": "2 dots", "week": "3",
    "hours": "Mon to Fri, 9 to 17, London", "zone": "Europe/Berlin", "command": "/coldframe new", "share": "42%",
}  # fmt: skip


def filled(template: str, given: Mapping[str, Node]) -> str:
    """With a value for each of its braces."""
    text = re.sub(r"\{([^{}]*)\}", lambda found: _value(found[1], given.get(found[1])), template)
    return re.sub(r"(?i)\b(by|until|from|before) (today|tomorrow) (\d+:\d+)", r"\1 \3 \2", text)


def _value(name: str, source: Node | None) -> str:
    if source is not None:
        if isinstance(source, ast.Call) and ast.unparse(source.func) == "count":
            return _counted(source)
        if (text := _text(source)) is not None:
            return filled(text, {})
    if name in BY_NAME and source is None:
        return BY_NAME[name]
    written = ast.unparse(source) if source is not None else name
    found = next((value for pattern, value in BY_SOURCE if re.search(pattern, written)), None)
    return found or BY_NAME.get(name, f"‹{name}›")


def _counted(call: ast.Call) -> str:
    named = [text for argument in call.args[1:] if (text := _text(argument)) is not None]
    if not named:
        return "3 things"
    return f"3 {filled(named[1] if len(named) > 1 else named[0] + 's', {})}"


# --- printing -------------------------------------------------------------------------------------------------------


def report(readers: tuple[str, ...] = READERS) -> Iterator[str]:
    """By reader: what stands where, each with its count of words."""
    for reader in readers:
        theirs = [said for said in all_said() if said.reader == reader]
        yield f"# {reader}: {len(theirs)} texts, {sum(said.words for said in theirs)} words"
        where = ""
        for said in theirs:
            if said.where != where:
                where = said.where
                yield f"\n{where}"
            mark = {"button": "[] ", "field": "_ ", "title": "# "}.get(said.kind, "")
            yield f"  {said.words:3}  {mark}{said.sample}"
        yield ""


def main(words: list[str]) -> int:
    wrong = set(words) - set(READERS)
    if wrong:
        print(f"nobody is called {', '.join(sorted(wrong))}; readers are {', '.join(READERS)}", file=sys.stderr)
        return 2
    print("\n".join(report(tuple(words) or READERS)))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
