"""Bringing a database to the schema that this code needs. Alembic is imported only here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from coldframe.errors import ColdframeError
from coldframe.store.connection import Database

FOLDER = Path(__file__).with_name("migrations")


class SchemaTooNew(ColdframeError):
    """The database was written by a newer release."""

    def __init__(self, found: str) -> None:
        super().__init__(
            f"the database has schema revision {found}, which this release does not know; start the newer release"
        )


async def upgrade(database: Database) -> None:
    """Runs what is missing; does nothing on a current database. Raises SchemaTooNew."""
    await database.run(_upgrade)


async def is_known(database: Database) -> bool:
    """True for an empty database, a current one, and one that `upgrade` would bring up to date; changes nothing."""
    return await database.run(_is_known)


def _is_known(connection: Connection) -> bool:
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    current = MigrationContext.configure(connection).get_current_revision()
    return current is None or current in {s.revision for s in ScriptDirectory.from_config(_config()).walk_revisions()}


def _config() -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    return config


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    config = _config()
    scripts = ScriptDirectory.from_config(config)
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(727001)")
    current = MigrationContext.configure(connection).get_current_revision()
    if current == scripts.get_current_head():
        return
    if current is not None and current not in {s.revision for s in scripts.walk_revisions()}:
        raise SchemaTooNew(current)
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
