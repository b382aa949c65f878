"""A plugin of pytest, `-p tests.mutation.planted`: one module of the program has one wrong in this process, and no file
is touched. Which is said by the environment."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Sequence
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec
from types import ModuleType

from tests.mutation.sites import BOT, Site, mutated

WHICH = "TESTS_MUTANT"


class _Planted(MetaPathFinder, Loader):
    def __init__(self, site: Site) -> None:
        self._site = site

    def find_spec(self, name: str, path: Sequence[str] | None, target: ModuleType | None = None) -> ModuleSpec | None:
        if name != self._site.module:
            return None
        file = BOT / self._site.file
        inside = [str(file.parent)] if file.name == "__init__.py" else None
        return importlib.util.spec_from_file_location(name, file, loader=self, submodule_search_locations=inside)

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(mutated(self._site), str(BOT / self._site.file), "exec"), vars(module))


def plant(which: str) -> None:
    file, number = which.rsplit(":", 1)
    sys.meta_path.insert(0, _Planted(Site(file, int(number), 1)))


if os.environ.get(WHICH):
    plant(os.environ[WHICH])
