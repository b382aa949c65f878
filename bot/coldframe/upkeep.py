"""What an operator does to a database: another secret for it, a look into the outbox, or a hand in it, a back-up."""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy.engine import make_url

from coldframe.chat.room.log import Log
from coldframe.clock import RandomIds, SystemClock
from coldframe.config import Settings
from coldframe.engine.register import erasing
from coldframe.engine.register.teams import newest_round
from coldframe.engine.trial import bringing
from coldframe.errors import WRONG, ColdframeError
from coldframe.message.nodes import TextFile
from coldframe.ports.chat import Clock
from coldframe.ports.storage import Standing
from coldframe.private_files import keep_private
from coldframe.speech.register import erasing_words
from coldframe.sqlite_files import UnusableFile
from coldframe.store import backups, restoring, standing
from coldframe.store.backups import ROOMS_FILE, Contents
from coldframe.store.connection import Database
from coldframe.store.database import open_database
from coldframe.store.holding import Hold, InUse
from coldframe.store.keys import change_secret
from coldframe.store.recognising import State, is_file, recognised
from coldframe.store.restoring import WouldOverwrite
from coldframe.store.room_keys import RoomKeys
from coldframe.store.round_keys import KeyPlace
from coldframe.store.sealing import Seal
from coldframe.store.sql import SqlStore
from coldframe.wiring import looking, open_store, reading, seal_secret, secret_from


class NoSecretBefore(ColdframeError, ValueError):
    """COLDFRAME_SECRET_BEFORE is missing: the secret that the database has now.

    COLDFRAME_SECRET is the one that it shall get.
    """

    status = WRONG


async def rotate_secret(settings: Settings) -> int:
    """Seals everything anew, from the secret before to the secret of the settings, and what is private in the file of a
    room that stands beside the database; how many texts of the database that were.

    Raises NoSecret, NoSecretBefore, WrongSecret, InUse, NoDatabase.
    """
    after = seal_secret(settings)
    if settings.secret_before is None:
        raise NoSecretBefore
    before = secret_from(settings.secret_before.get_secret_value())
    store = await open_store(settings.database, before, RandomIds(), keys=settings.keys)
    try:
        await store.database.be_alone()
        async with _room_resealed(settings.database, store.keys, Seal(before), Seal(after)):
            return await change_secret(store.database, store.keys, Seal(before), Seal(after), SystemClock().now())
    finally:
        await store.close()


@asynccontextmanager
async def _room_resealed(database: str, keys: KeyPlace, before: Seal, after: Seal) -> AsyncIterator[None]:
    """Kept when what is done inside is; a file whose key is gone is left as it is."""
    url = make_url(database)
    file = Path(url.database or "").with_name(ROOMS_FILE) if is_file(url) else None
    if file is None or not file.exists():
        yield
        return
    log = Log(str(file))
    try:
        of_room = RoomKeys(keys, before, log.life)
        key = (await of_room.standing()).get(log.chapter)
        if key is None:
            yield
            return
        log.unlock((log.chapter, key), SystemClock().now())
        with log.sealed_by(replace(key, seal=after)):
            yield
    finally:
        log.close()


# --- what waits to be sent ---


async def waiting(settings: Settings) -> list[Standing]:
    """All that stands in the outbox, beside a running bot too. Raises NoSecret, WrongSecret, NoDatabase."""
    async with reading(settings) as store:
        return await standing.listed(store.database, store.sends)


async def try_again(settings: Settings, ids: Collection[int], conversation: str = "", *, every: bool = False) -> int:
    """Lets these sends go now; how many. Raises NoSecret, WrongSecret, InUse, NoDatabase."""
    async with _outbox(settings) as store:
        which = standing.chosen(ids, await store.conversation(conversation), every=every)
        return await standing.try_again(store.database, which, SystemClock().now())


async def drop(settings: Settings, ids: Collection[int], conversation: str = "", *, every: bool = False) -> int:
    """Takes these sends out for good; how many. Raises NoSecret, WrongSecret, InUse, NoDatabase."""
    async with _outbox(settings) as store:
        which = standing.chosen(ids, await store.conversation(conversation), every=every)
        return await standing.drop(store.database, which)


@asynccontextmanager
async def _outbox(settings: Settings) -> AsyncIterator[SqlStore]:
    """A file is changed while no bot runs on it; a server keeps a running bot and this apart by itself."""
    async with reading(settings):
        pass  # a database that is not there is not made
    store = await open_store(settings.database, seal_secret(settings), RandomIds(), owner="upkeep", keys=settings.keys)
    try:
        yield store
    finally:
        await store.close()


# --- a whole team ---


class NoSuchTeam(ColdframeError, ValueError):
    """No team of this id is kept here. `coldframe team` lists those that are."""

    status = WRONG


class SeveralTeams(ColdframeError, ValueError):
    """Several workspaces have a team of this id. Say which by --workspace."""

    status = WRONG


class FilesAreThere(ColdframeError, ValueError):
    """In this folder there are files of a team already. They were left untouched: name another folder."""

    status = WRONG


@dataclass(frozen=True, slots=True)
class KeptTeam:
    """How much is kept of a team; `team` is its channel's id."""

    tenant: str
    team: str
    rounds: int
    trials: int


async def teams(settings: Settings) -> list[KeptTeam]:
    """All that are kept, beside a running bot too. Raises NoSecret, WrongSecret, NoDatabase."""
    async with reading(settings) as store, store.begin() as uow:
        return [
            KeptTeam(
                *(tenant, team, len(await uow.rounds_of_team(tenant, team))),
                len(await uow.trials_of(tenant, team, over=True)),
            )
            for tenant, team in await uow.all_teams()
        ]


async def team_of(settings: Settings, team: str, tenant: str = "") -> KeptTeam:
    """The one of this id. Raises NoSuchTeam, SeveralTeams, and what `teams` does."""
    found = [one for one in await teams(settings) if one.team == team and tenant in ("", one.tenant)]
    if len(found) > 1:
        raise SeveralTeams
    if not found:
        raise NoSuchTeam
    return found[0]


async def export_team(settings: Settings, team: str, folder: Path, tenant: str = "") -> list[Path]:
    """Writes all that the team may know of itself into the folder, beside a running bot too; a file that is there
    already is left alone. Raises FilesAreThere, and what `team_of` does."""
    found = await team_of(settings, team, tenant)
    async with reading(settings) as store, store.begin() as uow:
        words = await erasing.exported(uow, found.tenant, found.team)
    files = {folder / file.name: file.text for file in words.attachments if isinstance(file, TextFile)}
    if any(file.exists() for file in files):
        raise FilesAreThere
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    for file, text in files.items():
        keep_private(file)
        file.write_text(text, encoding="utf-8")
    return list(files)


async def erase_team(settings: Settings, team: str, tenant: str = "") -> KeptTeam:
    """All that is kept of it; a running bot on a server takes back what it had said, another once it runs. Raises InUse
    where a bot runs on the file, and what `team_of` does."""
    found = await team_of(settings, team, tenant)
    ids, now = RandomIds(), SystemClock().now()
    async with _outbox(settings) as store, store.begin() as uow:
        last = erasing_words.erased_by_operator()
        await uow.send(await erasing.everything(uow, ids, found.tenant, found.team, last), now)
        await uow.set_due([erasing.swept(found.tenant, found.team, now)])
    return found


class NoRoundYet(ColdframeError, ValueError):
    """The team has had no round yet, so nobody facilitates it: start one, then enter what was there before."""

    status = WRONG


class NotEntered(ColdframeError, ValueError):
    """Nothing was entered; each wrong line is named with what is wrong."""

    status = WRONG


async def bring_results(
    settings: Settings, team: str, rows: Sequence[tuple[int, Mapping[str, str]]], tenant: str = ""
) -> int:
    """Enters what was tried before coldframe into the team's register, marked as brought in, all or nothing; the same
    row again brings its entry up to date. How many. Raises NotEntered, NoRoundYet, InUse, and what `team_of` does."""
    found = await team_of(settings, team, tenant)
    now = SystemClock().now()
    async with _outbox(settings) as store, store.begin() as uow:
        round_ = await newest_round(uow, found.tenant, found.team)
        if round_ is None:
            raise NoRoundYet
        read = [bringing.from_row(round_, number, cells, now) for number, cells in rows]
        if wrong := [one for one in read if isinstance(one, str)]:
            raise NotEntered("\n".join(wrong))
        for entry in read:
            assert not isinstance(entry, str)
            await uow.enter(entry)
    return len(read)


# --- back-ups ---


async def back_up(
    settings: Settings, file: Path, room: Path | None = None, *, replace: bool = False, clock: Clock | None = None
) -> Contents:
    """Copies the database, beside a running bot too, with the file of a room after it: what the room did between the
    two is found when the copy starts. Needs no secret. Raises FileIsThere, UnusableFile, NoDatabase."""
    async with looking(settings) as (database, _):
        with backups.unfinished(file, replace=replace) as beside:
            made_at = (clock or SystemClock()).now()

            def files() -> dict[str, bytes]:
                return {ROOMS_FILE: backups.copy_of(room)} if room is not None and room.exists() else {}

            at_rest = await _is_at_rest(database)
            await database.run(lambda source: backups.write(beside, source, made_at, files, at_rest=at_rest))
    return backups.read(file)


async def _is_at_rest(database: Database) -> bool:
    """Whether no bot runs on it."""
    try:
        if is_file(database.url):
            Hold(Path(database.url.database or "")).release()
        else:
            await database.be_alone()
    except InUse:
        return False
    return True


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put where; `room` where a room's file was part of it."""

    contents: Contents
    overwritten: str
    room: bool


async def put_back(settings: Settings, file: Path, room: Path | None = None, *, replace: bool = False) -> Restored:
    """Puts a back-up in the place of the database of the settings, and of a room's file. No bot may run on it.

    Raises WouldOverwrite where there is something already, unless it is to be replaced; InUse, NoFile, UnusableFile,
    WrongServer, NoDatabase.
    """
    contents = backups.read(file)
    there = await _there(settings)
    with_room = room is not None and ROOMS_FILE in contents.files
    if room is not None and with_room and room.exists():
        there = there or f"there is a room's file {room} already"
    if there and not replace:
        raise WouldOverwrite(there)
    url = make_url(settings.database)
    if is_file(url):
        database = Path(url.database or "")
        await restoring.into_file(database, lambda beside: restoring.filled(beside, file, contents))
    else:
        await restoring.into_server(settings.database, file, contents, replace=bool(there))
    if room is not None and with_room:
        await restoring.into_file(room, lambda beside: restoring.room_filled(beside, file))
    return Restored(contents, there, with_room)


async def _there(settings: Settings) -> str:
    """What stands in the place of the database, in words; "" where there is nothing. Raises UnusableFile for what
    is not coldframe's."""
    database = open_database(settings.database, read_only=True)
    try:
        if await recognised(database, to_write=True) is State.NOTHING:
            return ""
        return f"there is a database already, with {await restoring.living(database)}"
    except UnusableFile as unusable:
        if not unusable.may_be_replaced:
            raise
        return str(unusable).partition(". ")[0]
    finally:
        await database.close()
