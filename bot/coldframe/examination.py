"""What `coldframe doctor` looks at, and what it says of it."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from sqlalchemy.engine import make_url

from coldframe import homes
from coldframe.clock import SystemClock
from coldframe.config import Settings
from coldframe.errors import ColdframeError
from coldframe.meaning import NoEncoder, look_for
from coldframe.store import past, soundness, standing
from coldframe.store.database import open_database
from coldframe.store.keys import WrongSecret, compare_secret
from coldframe.store.recognising import MAKE_THE_FOLDER, NoDatabase, is_file, no_answer, recognised
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.wiring import NoSecret, NoZoneData, pinned_zones, reading, seal_secret, slack_options

if TYPE_CHECKING:
    from coldframe.chat.slack.accounts import Options

MAX_FAILING = 5  # failing rows that are named
Finding = tuple[str, str, str, str]


Mode = Literal["socket", "http", "matrix"]


async def examine(settings: Settings, mode: Mode) -> list[Finding]:
    """What `doctor` looks at: (name, ok | warning | unknown | broken, what, remedy). Never raises, shows no secret."""
    findings = [_zones_finding(), await _database_finding(settings), _meaning_finding()]
    findings.insert(1, await _secret_finding(settings, fits=findings[1][1] == "ok"))
    if findings[1][1] == findings[2][1] == "ok" and settings.secret is not None:
        findings += await _what_stands(settings)
    database_is_well = findings[2][1] == "ok"
    if mode == "matrix":
        return findings + await _on_matrix(settings)
    return findings + await _on_slack(settings, mode, database_is_well=database_is_well)


async def _on_slack(settings: Settings, mode: Literal["socket", "http"], *, database_is_well: bool) -> list[Finding]:
    from coldframe.chat.slack.checkup import check_slack  # heavy: Slack's framework

    options = slack_options(settings)
    keys = [await _keys_finding(settings, options)] if options.many and database_is_well else []
    found = await check_slack(options, SystemClock(), mode)
    return [*keys, *((one.name, one.state, one.detail, one.remedy) for one in found)]


async def _on_matrix(settings: Settings) -> list[Finding]:
    try:
        from coldframe.chat.matrix.checkup import check_matrix  # heavy: an extra's libraries
        from coldframe.on_matrix import matrix_options
    except ModuleNotFoundError as lacking:
        return [("encryption", "broken", f"{lacking.name} is missing", "pip install 'coldframe[matrix]'")]
    found = await check_matrix(matrix_options(settings), SystemClock())
    encrypts: Finding = ("encryption", "ok", "always on in direct messages, and in rooms that are encrypted", "")
    return [encrypts, *((one.name, one.state, one.detail, one.remedy) for one in found)]


async def _what_stands(settings: Settings) -> list[Finding]:
    """Whether everything stored can be read, and whether everything goes out and is done."""
    try:
        async with reading(settings) as store:
            return [
                await past.finding(store.database, store.keys),
                *await _damage_findings(store),
                await standing.finding(store.database, store.sends),
            ]
    except NoDatabase:
        return []  # there is no table yet


async def _damage_findings(store: SqlStore) -> list[Finding]:
    found: list[Finding] = []
    if damaged := await soundness.damaged(store):
        names = ", ".join(f"{one.what} {one.subject}" for one in damaged)
        remedy = "All else goes on without them. Put them back from a back-up, with the bot stopped."
        found.append(("records", "broken", f"cannot be read: {names}", remedy))
    if failing := await soundness.failing(store):
        rows = ", ".join(
            f"{one.kind} of {one.subject} ({one.problem}, {one.tries} tries)" for one in failing[:MAX_FAILING]
        )
        more = f" and {len(failing) - MAX_FAILING} more" if len(failing) > MAX_FAILING else ""
        remedy = "They are tried every ten minutes at the least; the bot's log names each by due.failed."
        found.append(("due work", "broken", f"fails: {rows}{more}", remedy))
    return found


def _zones_finding() -> Finding:
    try:
        return ("time zone data", "ok", f"version {pinned_zones()}", "")
    except NoZoneData:
        return ("time zone data", "broken", "cannot be read", str(NoZoneData()))


def _meaning_finding() -> Finding:
    try:
        look_for()
    except NoEncoder as missing:
        return ("meaning", "warning", "words alone are compared: duplicates, cautions, what is alike", str(missing))
    return ("meaning", "ok", "the sentence encoder is there", "")


async def _secret_finding(settings: Settings, *, fits: bool) -> Finding:
    """`fits`: there is a database to try it on."""
    if settings.secret is None:
        return ("secret", "broken", "COLDFRAME_SECRET is missing", str(NoSecret()))
    try:
        since = await secret_since(settings) if fits else None
    except WrongSecret as wrong:
        return ("secret", "broken", "is not the one that the database was made with", " ".join(str(wrong).split()))
    except NoDatabase:
        since = None  # there is no table yet that would tell
    tried = f"is the database's own since {since:%Y-%m-%d}" if since else "is set"
    return ("secret", "ok", f"{tried}; keep it, and not beside the back-ups", "")


async def secret_since(settings: Settings) -> datetime | None:
    """Since when the database has the secret of the settings; None where that was never noted. Changes nothing.

    Raises WrongSecret, NoSecret, NoDatabase.
    """
    async with reading(settings) as store:
        return await compare_secret(store.database, Seal(seal_secret(settings)))


async def _database_finding(settings: Settings) -> Finding:
    """Whether the database answers and is one of ours; nothing is changed in it, and no file is made."""
    url = make_url(settings.database)
    shown = url.render_as_string(hide_password=True)
    if is_file(url) and not Path(url.database or "").exists():
        return _new_file(Path(url.database or "").absolute())
    database = open_database(settings.database, read_only=True)
    try:
        await recognised(database, to_write=True)
    except Exception as problem:
        said = problem if isinstance(problem, ColdframeError) else no_answer(url, problem)
        what, _, remedy = str(said).partition(". ")
        return ("database", "broken", what, remedy)
    finally:
        await database.close()
    return ("database", "ok", shown, "")


def _new_file(path: Path) -> Finding:
    if path.parent == homes.home() or (path.parent.is_dir() and os.access(path.parent, os.W_OK)):
        return ("database", "ok", f"{path} is made at the first start", "")
    return ("database", "broken", f"{path.parent} is no folder that may be written to", MAKE_THE_FOLDER)


async def _keys_finding(settings: Settings, options: Options) -> Finding:
    from coldframe.chat.slack.checkup import check_keys  # heavy: Slack's framework

    database = open_database(settings.database, read_only=True)
    try:
        found = await check_keys(options, database.engine)
    finally:
        await database.close()
    return (found.name, found.state, found.detail, found.remedy)
