"""Small wrongs that may be done to a module, one at a time: where they can be done, and the source with one of them."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
BOT = TOP / "bot"
ROOMS = ("domain", "analysis", "timing")

_TURNED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.And: ast.Or, ast.Or: ast.And,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
}  # fmt: skip
"""An operator by what stands in its place."""
_NAMED = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}
"""A function by the one that is called in its place."""


@dataclass(frozen=True)
class Site:
    """The place of one wrong: a module by its file, and the how-manieth it is there."""

    file: str
    number: int
    line: int

    @property
    def module(self) -> str:
        parts = Path(self.file).with_suffix("").parts
        return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def sites(rooms: tuple[str, ...] = ROOMS) -> list[Site]:
    """All of them, in the order of files and lines."""
    files = sorted(path for room in rooms for path in (BOT / "coldframe" / room).rglob("*.py"))
    return [site for path in files for site in _of_file(path)]


def _of_file(path: Path) -> Iterator[Site]:
    name = str(path.relative_to(BOT))
    for number, (node, _) in enumerate(_wrongs(ast.parse(path.read_text(encoding="utf-8")))):
        yield Site(name, number, getattr(node, "lineno", 1))


def mutated(site: Site) -> str:
    """The source of the module with this wrong."""
    return ast.unparse(_with(site)[0])


def wrong_tree(site: Site) -> ast.Module:
    """The same before it is a text: each line has the number that it has in the file."""
    return _with(site)[0]


def told(site: Site) -> str:
    """The line as it stands, and the statement that came of it."""
    tree, node = _with(site)
    stands = (BOT / site.file).read_text(encoding="utf-8").splitlines()[site.line - 1].strip()
    return f"{site.file}:{site.line}: {stands}\n    -> {ast.unparse(_statement(tree, node)).splitlines()[0][:160]}"


def _with(site: Site) -> tuple[ast.Module, ast.AST]:
    tree = ast.parse((BOT / site.file).read_text(encoding="utf-8"))
    node, wrong = list(_wrongs(tree))[site.number]
    for name, value in wrong.items():
        setattr(node, name, value)
    return ast.fix_missing_locations(tree), node


def _statement(tree: ast.AST, node: ast.AST) -> ast.AST:
    """The smallest statement in which a node stands."""
    found: ast.AST = tree
    for each in ast.walk(tree):
        if isinstance(each, ast.stmt) and any(inner is node for inner in ast.walk(each)):
            found = each
    return found


Wrong = dict[str, object]
"""Fields of a node that make a wrong of it."""


def _wrongs(tree: ast.Module) -> Iterator[tuple[ast.AST, Wrong]]:
    for node in _code(tree):
        for wrong in (_in_operators(node), _in_values(node), _in_flow(node)):
            if wrong is not None:
                yield node, wrong


def _in_operators(node: ast.AST) -> Wrong | None:
    match node:
        case ast.Compare(ops=[first, *rest]) if type(first) in _TURNED:
            return {"ops": [_TURNED[type(first)](), *rest]}
        case ast.BoolOp(op=op) | ast.BinOp(op=op) | ast.AugAssign(op=op) if type(op) in _TURNED and not _of_types(node):
            return {"op": _TURNED[type(op)]()}
        case ast.UnaryOp(op=ast.USub()):
            return {"op": ast.UAdd()}
    return None


def _in_values(node: ast.AST) -> Wrong | None:
    match node:
        case ast.Constant(value=bool() as value):
            return {"value": not value}
        case ast.Constant(value=int() as number):
            return {"value": number + 1}
        case ast.Constant(value=float() as number):
            return {"value": number * 1.25 if number else 0.5}
        case ast.Call(func=ast.Name(id=name)) if name in _NAMED:
            return {"func": ast.Name(_NAMED[name], ast.Load())}
        case ast.Call(func=ast.Attribute(value=ast.Name(id="math"), attr=name)) if name in _NAMED:
            return {"func": ast.Attribute(ast.Name("math", ast.Load()), _NAMED[name], ast.Load())}
    return None


def _in_flow(node: ast.AST) -> Wrong | None:
    match node:
        case ast.If(test=test) | ast.IfExp(test=test) | ast.While(test=test):
            return {"test": ast.UnaryOp(ast.Not(), copy.deepcopy(test))}
        case ast.comprehension(ifs=[first, *rest]):
            return {"ifs": [ast.UnaryOp(ast.Not(), copy.deepcopy(first)), *rest]}
        case ast.Expr(value=ast.Call()):  # what is called for what it does is not called
            return {"value": ast.Tuple([], ast.Load())}
        case ast.Return(value=ast.expr() as value) if not isinstance(value, ast.Constant):
            return {"value": ast.Constant(None)}
    return None


def _of_types(node: ast.AST) -> bool:
    """A sum of types or of texts is no reckoning."""
    parts = (getattr(node, "left", None), getattr(node, "right", None))
    return any(isinstance(part, ast.JoinedStr | ast.List | ast.Tuple) or _is_text(part) for part in parts)


def _is_text(node: ast.AST | None) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str | bytes)


def _code(node: ast.AST) -> Iterator[ast.AST]:
    """What runs: no annotations, no decorators, no words of types; nor `strict` of a zip, which is said to readers and
    changes nothing where the lengths are alike."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params", "bases", "keywords") and not (
            name == "keywords" and isinstance(node, ast.Call)
        ):
            continue
        for inner in value if isinstance(value, list) else (value,):
            if isinstance(inner, ast.AST):
                if _is_apart(inner):
                    continue
                yield inner
                yield from _code(inner)


def _is_apart(node: ast.AST) -> bool:
    """Imports for types only, aliases of types, and `strict`."""
    if isinstance(node, ast.keyword) and node.arg == "strict":
        return True
    if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
        return True
    called = node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""
    return called in ("TypeVar", "NewType", "cast", "dataclass")
