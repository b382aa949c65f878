"""A wrong in a process that has imported everything: the functions that it changes get the wrong code, in the place
where they are. So no test has to be collected anew for it."""

from __future__ import annotations

import ast
import functools
import gc
import sys
from collections.abc import Iterator
from types import CodeType, FunctionType

from tests.mutation.sites import BOT, ROOMS, Site, wrong_tree

Key = tuple[str, str, int]
_HERE = tuple(str(BOT / "coldframe" / room) for room in ROOMS)


class Functions:
    """Those of the rooms that live in this process, however they are wrapped, by where their code stands."""

    def __init__(self) -> None:
        self._living: dict[Key, list[FunctionType]] = {}
        for each in gc.get_objects():
            if isinstance(each, FunctionType) and each.__code__.co_filename.startswith(_HERE):
                self._living.setdefault(_key(each.__code__), []).append(each)

    def swap(self, site: Site) -> bool:
        """False, with nothing done, where the wrong is in what runs with the import of its module."""
        file = BOT / site.file
        old = compile(ast.parse(file.read_text(encoding="utf-8")), str(file), "exec", dont_inherit=True)
        new = compile(wrong_tree(site), str(file), "exec", dont_inherit=True)
        try:
            swaps = list(self._between(old, new))
        except _WithTheImport:
            return False
        swapped = False
        for key, before, code in swaps:
            for function in self._living[key]:
                if function.__code__ == before:
                    function.__code__ = code
                    swapped = True
        _forget_what_was_reckoned()
        return swapped

    def _between(self, old: CodeType, new: CodeType) -> Iterator[tuple[Key, CodeType, CodeType]]:
        if old == new:
            return
        if (key := _key(old)) in self._living:
            yield key, old, new
        elif _alone(old) != _alone(new):
            raise _WithTheImport
        # What a function has made that lives by itself (a decorator's) is another function.
        for inner, other in zip(_inside(old), _inside(new), strict=False):
            if _key(old) not in self._living or _key(inner) in self._living:
                yield from self._between(inner, other)


class _WithTheImport(Exception):
    pass


def _key(code: CodeType) -> Key:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _inside(code: CodeType) -> list[CodeType]:
    return [each for each in code.co_consts if isinstance(each, CodeType)]


def _alone(code: CodeType) -> CodeType:
    """Without what stands in it."""
    return code.replace(co_consts=tuple(None if isinstance(each, CodeType) else each for each in code.co_consts))


def _forget_what_was_reckoned() -> None:
    """While tests were collected."""
    for name, module in list(sys.modules.items()):
        if name.startswith("coldframe"):
            for each in list(vars(module).values()):
                if isinstance(each, functools._lru_cache_wrapper):
                    each.cache_clear()
