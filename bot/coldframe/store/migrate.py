"""Bringing a database to the schema that this code needs. Alembic is imported only here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, inspect

from coldframe.errors import ColdframeError
from coldframe.store.connection import Database

FOLDER = Path(__file__).with_name("migrations")
KNOWN = tuple(sorted(path.stem for path in (FOLDER / "versions").glob("[0-9]*.py")))
"""The revisions of this release, the first first: each file is called by its revision."""
HEAD = KNOWN[-1]


class SchemaTooNew(ColdframeError):
    """The database was written by a newer release."""

    def __init__(self, found: str) -> None:
        super().__init__(
            f"the database has schema revision {found}, which this release does not know; start the newer release"
        )


async def upgrade(database: Database) -> None:
    """Runs what is missing; does nothing on a current database. Raises SchemaTooNew."""
    await database.run(bring_up)


def _config() -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    return config


def revision_of(connection: Connection) -> str | None:
    """Of the schema that stands there; None where there is none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    return found


def bring_up(connection: Connection, to: str = HEAD) -> None:
    """Brings the database of this connection to a revision, in its transaction. Raises SchemaTooNew."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(727001)")
    current = revision_of(connection)
    if current == to:
        return
    if current is not None and current not in KNOWN:
        raise SchemaTooNew(current)
    from alembic import command  # heavy: most starts find the newest schema

    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, to)
