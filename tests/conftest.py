"""What holds for every test: no machine but this one, the pinned zone database, reproducible properties."""

from __future__ import annotations

import ipaddress
import logging
import os
import sys
import types
import zoneinfo
from collections.abc import Iterator
from typing import Any

import hypothesis
import pytest
import structlog

from coldframe import memory
from coldframe.meaning import limit_threads
from tests.browsers import chromium
from tests.engine import snapshots
from tests.shared import of_all_workers

limit_threads()  # before a test imports numpy
zoneinfo.reset_tzpath(to=())  # the program reads the pinned tzdata package, so the tests do too
memory.look_seldom()

# Speed is measured in tests/bench, beside a floor; here a slow machine must not make a right answer fail.
ORDINARY = hypothesis.settings(deadline=None, max_examples=25, suppress_health_check=[hypothesis.HealthCheck.too_slow])
ALL = hypothesis.settings(ORDINARY, max_examples=200)
CI = hypothesis.settings(ALL, derandomize=True, database=None, print_blob=True)
for name, profile in {"ordinary": ORDINARY, "all": ALL, "ci": CI}.items():
    hypothesis.settings.register_profile(name, profile)
hypothesis.settings.load_profile("ordinary")

SHARED = ("browser", "postgres", "matrix")
NO_HOMESERVER = "Matrix tests skipped: COLDFRAME_SYNAPSE names no Python with Synapse (DEVELOPERS.md, Matrix)"
NO_CHROMIUM = "browser tests skipped: there is no Chromium on this machine"


# --- the network ----------------------------------------------------------------------------------------------


class OutsideWorld(Exception):
    """A test tried to reach another machine."""


def _is_here(host: str) -> bool:
    if host in {"", "localhost", "ip6-localhost"} or host.endswith(".localhost"):
        return True
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified


def _refuse_outside(event: str, arguments: tuple[Any, ...]) -> None:
    """An audit hook: no library can talk past it, whatever it patches or copies."""
    if event == "socket.connect":
        target = arguments[1]
        if isinstance(target, tuple) and not _is_here(str(target[0])):
            raise OutsideWorld(f"a test reached for {target[0]}; tests talk to this machine only")
    elif event == "socket.getaddrinfo" and arguments[0] is not None:
        host = arguments[0].decode() if isinstance(arguments[0], bytes) else str(arguments[0])
        if not _is_here(host):
            raise OutsideWorld(f"a test looked up {host}; tests talk to this machine only")


sys.addaudithook(_refuse_outside)


# --- a library for comparison, without its ballast ---------------------------------------------------------------


def _uncompiled(*arguments: Any, **_options: Any) -> Any:
    return arguments[0] if arguments and callable(arguments[0]) else lambda function: function


def _stand_in(name: str, **contents: Any) -> types.ModuleType:
    module = types.ModuleType(name)
    vars(module).update(contents)
    sys.modules[name] = module
    return module


# pref_voting names a compiler for a few loops, and a solver for methods that nobody uses here, where it is imported.
# Together they weigh 300 MB and are missing on new Pythons. The same loops run as plain Python, only slower, which is
# enough for the handful of voters in a test; so every machine runs them that way.
_stand_in("numba", jit=_uncompiled, njit=_uncompiled, float32=None)
_stand_in("ortools")
_stand_in("ortools.linear_solver", pywraplp=_stand_in("ortools.linear_solver.pywraplp"))


# --- what is left out, and the end of the report ------------------------------------------------------------------


@pytest.hookimpl(tryfirst=True)  # the groups must stand before xdist looks for them
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skips what needs a browser where there is none. One worker gets all that need one, so that one browser is
    started, and one server of PostgreSQL."""
    for item in items:
        for shared in SHARED:
            if item.get_closest_marker(shared):
                item.add_marker(pytest.mark.xdist_group(shared))
    if chromium() is None:
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(pytest.mark.skip(reason=NO_CHROMIUM))


def pytest_collection_finish() -> None:
    """What was collected stays to the end: looking at it for garbage again and again takes a seventh of the suite."""
    memory.let_stand()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if not os.environ.get("COLDFRAME_SYNAPSE"):
        terminalreporter.write_line(NO_HOMESERVER)
    if chromium() is None:
        terminalreporter.write_line(NO_CHROMIUM)


# --- what is made once ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="session", autouse=True)
def _snapshots_for_all(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A team that has come so far is played there once, whichever workers need it."""
    folder = of_all_workers(tmp_path_factory) / "snapshots"
    folder.mkdir(exist_ok=True)
    snapshots.kept["folder"] = folder
    yield
    snapshots.kept.clear()


# --- the log --------------------------------------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def _log_as_it_was() -> Iterator[None]:
    """A verb that runs in the tests' own process sets the log up on a stream that ends with its test."""
    handlers, level = logging.root.handlers[:], logging.root.level
    yield
    structlog.reset_defaults()
    logging.root.handlers[:], logging.root.level = handlers, level
