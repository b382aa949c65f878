"""YAML read with the line of every value, so that a wrong file can be answered with the place."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import yaml

Path = tuple[str | int, ...]
_QUICK: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""In C where there is one. What it cannot read is read again by the other, which says more plainly what is wrong."""


class NotYaml(ValueError):
    """The text is no YAML; the message names the line."""


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
        raise NotYaml("line 1: the file is nested too deeply, or a part of it holds itself") from None
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise NotYaml(f"line {line}: {error.problem}") from None
    except yaml.reader.ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        raise NotYaml(f"line {line}: the character U+{ord(text[error.position]):04X} cannot stand in a file") from None
    except (yaml.YAMLError, ValueError) as error:
        raise NotYaml(f"line 1: {error}") from None


def _sheet(loader: Any) -> Sheet:
    node = loader.get_single_node()
    if node is None:
        return Sheet(None)
    sheet = Sheet(loader.construct_document(node))
    _note(node, (), sheet.lines)
    return sheet


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
