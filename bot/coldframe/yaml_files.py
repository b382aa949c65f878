"""YAML files that people write, read with the line of every value, so that a wrong one is answered with the place and
in plain words, and all that is wrong at once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, TypeVar

import yaml
from pydantic import AfterValidator, BaseModel, Field, ValidationError

from coldframe import wrong_values
from coldframe.errors import WRONG, ColdframeError

Path = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)
_KEY = "^[a-z0-9][a-z0-9-]{0,39}$"


def _a_key(value: str) -> str:
    if not re.fullmatch(_KEY, value):
        raise ValueError(f"“{value[:40]}” must be up to 40 small letters, digits and hyphens, such as ada or growth-2")
    return value


Key = Annotated[str, AfterValidator(_a_key), Field(json_schema_extra={"pattern": _KEY})]
"""By which somebody or something is known in a file."""
_QUICK: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""In C where there is one. What it cannot read is read again by the other, which tells more of what is wrong."""

PROBLEMS: Mapping[str, str] = {
    "mapping values are not allowed": "a colon stands where no field can begin; look at the indent, or put the text "
    "into quotation marks",
    r"found character '\t'": "a tab stands where only spaces may stand",
    "could not determine a constructor": "a word with “!” before it asks for something that is not taken; put the text "
    "into quotation marks",
    "found undefined alias": "a word with “*” before it refers to something that stands nowhere; put the text into "
    "quotation marks",
    "found duplicate anchor": "the same word with “&” before it stands there twice",
    "unexpected end of stream": "a quotation mark is opened and not closed",
    "found unexpected document": "a quotation mark is opened and not closed",
    "could not find expected ':'": "a field has no colon behind its name",
    "expected ',' or '}'": "a brace is opened and not closed, or a comma is missing",
    "expected ',' or ']'": "a bracket is opened and not closed, or a comma is missing",
    "expected the node content": "a bracket or a brace is opened and not closed, or a comma stands alone",
    "expected <block end>": "the indent is not that of the lines above, or quotation marks end too early",
    "found unknown escape": "a backslash stands in double quotation marks; use single ones",
    "expected escape sequence": "a backslash stands in double quotation marks; use single ones",
    "cannot start any token": "a text begins with a sign that has a meaning of its own; put it into quotation marks",
    "found another document": "a line of three hyphens begins a second part; the file must be one",
    "found unhashable key": "a list or a group of fields stands where a field's name must stand",
    "sequence entries are not allowed": "a hyphen stands where no list can begin; look at the indent",
    "expected a mapping": "“<<” stands before something that is no group of fields",
    "expected alphabetic or numeric": "a sign with a meaning of its own (&, * or !) stands alone; put the text into "
    "quotation marks",
    "expected chomping or indentation": "something stands behind | or > that cannot stand there",
}
"""By a part of what the library says of it, what it means for whoever wrote the file."""
NOT_READ = "here the file cannot be read as YAML; look at indents, colons and quotation marks"
NESTED = "the file is nested too deeply, or a part of it holds itself"
NO_VALUE = "“{text}” looks like a date or a number and is none; put it into quotation marks"


class NotYaml(ColdframeError, ValueError):
    """The text is no YAML; the message names the line."""

    status = WRONG


class WrongFile(ColdframeError, ValueError):
    """Something in the file cannot be taken: `problems`, each with its line."""

    status = WRONG

    def __init__(self, problems: list[str]) -> None:
        self.problems = problems
        super().__init__("\n".join(problems))


@dataclass(frozen=True, slots=True)
class Sheet:
    """The values, and the line (from 1) on which each path stands."""

    value: Any
    lines: dict[Path, int] = field(default_factory=dict)

    def line_of(self, path: Path) -> int:
        """The line of the path, or of the nearest place above it."""
        for length in range(len(path), -1, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return 1

    def problem(self, path: Path, words: str) -> str:
        """In one line: where, what, and what is wrong with it."""
        return f"line {self.line_of(path)}: {'.'.join(map(str, path)) or 'the file'}: {words}"


def form_of(sheet: Sheet, model: type[Model], whole: str) -> Model:
    """The values as this form. `whole`: what is said of a file that has nothing of it. Raises WrongFile."""
    try:
        return model.model_validate(sheet.value)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        raise WrongFile([_told(sheet, model, fault, whole) for fault in faults]) from None


def _told(sheet: Sheet, model: type[BaseModel], fault: Any, whole: str) -> str:
    path: Path = tuple(fault["loc"])
    words = wrong_values.said(fault)
    if not path and fault["type"] != "value_error":
        words = whole
    elif fault["type"] == "extra_forbidden":
        words += wrong_values.nearest(str(path[-1]), model, path[:-1])
    return sheet.problem(path, words)


def read(text: str) -> Sheet:
    """Reads a YAML text. Raises NotYaml."""
    try:
        try:
            return _sheet(_QUICK(text))
        except yaml.YAMLError:
            return _sheet(yaml.SafeLoader(text))
    except NotYaml:
        raise
    except RecursionError:
        raise NotYaml(f"line 1: {NESTED}") from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        raise NotYaml(f"line {mark.line + 1 if mark else 1}: {_in_words(str(error.problem))}") from None
    except yaml.reader.ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        raise NotYaml(f"line {line}: the character U+{ord(text[error.position]):04X} cannot stand in a file") from None
    except (yaml.YAMLError, ValueError):  # of the latter kind is half a character
        raise NotYaml(f"line 1: {NOT_READ}") from None


def _in_words(problem: str) -> str:
    return next((words for part, words in PROBLEMS.items() if part in problem), NOT_READ)


def _sheet(loader: Any) -> Sheet:
    node = loader.get_single_node()
    if node is None:
        return Sheet(None)
    sheet = Sheet(_value(loader, node))
    _note(node, (), sheet.lines)
    return sheet


def _value(loader: Any, node: yaml.Node) -> Any:
    """What stands there. What reads YAML makes dates and numbers of whatever looks like them. Raises NotYaml."""
    try:
        return loader.construct_document(node)
    except ValueError:
        wrong = next((each for each in _scalars(node) if not _has_a_value(each)), node)
        raise NotYaml(f"line {wrong.start_mark.line + 1}: {NO_VALUE.format(text=str(wrong.value)[:40])}") from None


def _scalars(node: yaml.Node) -> Iterator[yaml.Node]:
    if isinstance(node, yaml.ScalarNode):
        yield node
    for inner in node.value if isinstance(node, yaml.CollectionNode) else ():
        for each in inner if isinstance(inner, tuple) else (inner,):
            yield from _scalars(each)


def _has_a_value(node: yaml.Node) -> bool:
    try:
        yaml.SafeLoader("").construct_document(node)
    except ValueError:
        return False
    return True


def _note(node: yaml.Node, path: Path, lines: dict[Path, int]) -> None:
    """Notes where each path stands. Raises NotYaml for a field given twice, of which YAML would drop the first."""
    lines[path] = node.start_mark.line + 1
    if isinstance(node, yaml.MappingNode):
        for key, value in node.value:
            if (*path, key.value) in lines:
                raise NotYaml(
                    f"line {key.start_mark.line + 1}: “{key.value}” is there twice, see line "
                    f"{lines[(*path, key.value)]}"
                )
            lines[(*path, key.value)] = key.start_mark.line + 1
            _note(value, (*path, key.value), lines)
            lines[(*path, key.value)] = key.start_mark.line + 1
    elif isinstance(node, yaml.SequenceNode):
        for index, value in enumerate(node.value):
            _note(value, (*path, index), lines)
