"""The table of events, how a database is opened, and its refusals in plain words."""

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy import (
    URL,
    Column,
    Connection,
    Engine,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    create_engine,
    event,
    inspect,
    make_url,
)
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from diagnostics.errors import CaseError

STORE_VARIABLE: Final = "OHMWARD_STORE"
_FIRST_TRIES = 40
_PAUSE_S = 0.05

METADATA: Final = MetaData()
# ``mark`` repeats the closing word of a closing, so that lists can sort by it without reading bodies.
EVENTS: Final = Table(
    "ohmward_events",
    METADATA,
    Column("case_id", String(40), nullable=False),
    Column("revision", Integer, nullable=False),
    Column("kind", String(20), nullable=False),
    Column("mark", String(20), nullable=False, default=""),
    Column("body", Text, nullable=False),
    Column("at", String(32), nullable=False, index=True),
    PrimaryKeyConstraint("case_id", "revision"),
)
# What was written stays: the database itself refuses to change or remove a row.
_GUARDS: Final = {
    "sqlite": tuple(
        f"CREATE TRIGGER IF NOT EXISTS ohmward_no_{word} BEFORE {word.upper()} ON ohmward_events "
        "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END"
        for word in ("update", "delete")
    ),
    "postgresql": (
        (
            "CREATE OR REPLACE FUNCTION ohmward_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'events are only ever added'; END $$"
        ),
        (
            "CREATE OR REPLACE TRIGGER ohmward_no_change BEFORE UPDATE OR DELETE ON ohmward_events "
            "FOR EACH ROW EXECUTE FUNCTION ohmward_refuse()"
        ),
    ),
}

# A fragment of the database's words → ours, and what to do.
_REFUSALS: Final = (
    ("locked", "the case store is busy: another program is writing to it", "nothing was saved; try again"),
    ("disk is full", "the disk of the case store is full", "nothing was saved; make room, then save again"),
    ("No space left", "the disk of the case store is full", "nothing was saved; make room, then save again"),
    ("readonly", "the case store cannot be written to", "nothing was saved; check who may write to its folder"),
    ("read-only", "the case store cannot be written to", "nothing was saved; check who may write to its folder"),
    ("unable to open", "the case store cannot be opened", "check that its folder exists and may be written to"),
    ("not a database", "the file of the case store is no case store", f"check {STORE_VARIABLE}"),
    ("malformed", "the file of the case store is damaged", "put it aside and bring back the last copy"),
    ("disk I/O", "the disk of the case store fails", "nothing was saved; check the disk"),
)


def default_store_url() -> str:
    """Return where cases are kept unless told otherwise.

    ``OHMWARD_STORE``, or an SQLite file in the user's data folder (``XDG_DATA_HOME``, else ``~/.local/share``), whose
    folder is made for this user alone. Raises CaseError when the folder cannot be made.
    """
    if chosen := os.environ.get(STORE_VARIABLE, "").strip():
        return chosen
    data_home = Path(os.environ.get("XDG_DATA_HOME", ""))  # a relative one is to be ignored (XDG base directories)
    try:
        folder = (data_home if data_home.is_absolute() else Path.home() / ".local" / "share") / "ohmward"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except (OSError, RuntimeError) as error:
        message = f"no folder can be made for cases: {getattr(error, 'strerror', None) or error}"
        raise CaseError(message, hint=f"say where in {STORE_VARIABLE}") from error
    return URL.create("sqlite", database=str(folder / "cases.sqlite3")).render_as_string(hide_password=False)


def open_engine(url: str, patience_s: float) -> Engine:
    """Return an engine whose table is there. ``patience_s``: how long a busy store is waited for.

    Raises CaseError in plain words; a password in the URL is not repeated.
    """
    try:
        parsed = make_url(url)
        is_file = parsed.get_backend_name() == "sqlite"
        if is_file and parsed.database in {None, "", ":memory:"}:
            raise CaseError("a case store in memory would lose its cases", hint="give it a file")
        engine = create_engine(parsed, poolclass=NullPool, connect_args={"timeout": patience_s} if is_file else {})
    except (ArgumentError, NoSuchModuleError, ValueError) as error:
        raise CaseError(
            "this is no address of a case store", hint="write for example sqlite:///cases.sqlite3"
        ) from error
    except ImportError as error:
        raise CaseError(f"the driver for this case store is missing ({error.name})", hint="install it") from error
    if is_file:
        event.listen(engine, "connect", _set_durable)
    try:
        with explain_refusals():
            _prepare(engine, is_file=is_file)
    except CaseError:
        engine.dispose()
        raise
    return engine


@contextmanager
def explain_refusals() -> Iterator[None]:
    """Turn the database's refusals into CaseError; IntegrityError is the caller's business before this."""
    try:
        yield
    except SQLAlchemyError as error:
        words = str(getattr(error, "orig", None) or error)
        found = next((entry for entry in _REFUSALS if entry[0] in words), None)
        _, message, hint = found or ("", "the case store does not answer as it should", "nothing was saved; try again")
        raise CaseError(message, hint=hint) from error


def _set_durable(connection: sqlite3.Connection, _record: object) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA synchronous = FULL")  # in WAL: a commit waits for the disk
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.close()


def _prepare(engine: Engine, *, is_file: bool) -> None:
    """Make the table unless it is there. Two programs may try at the same moment: the loser looks again."""
    for remaining in reversed(range(_FIRST_TRIES)):
        try:
            with engine.connect() as connection:
                if is_file:
                    _set_write_ahead(connection)
                if not inspect(connection).has_table(EVENTS.name):
                    _build_table(connection)
                connection.commit()
        except SQLAlchemyError as error:
            again = any(words in str(error) for words in ("locked", "already exists", "duplicate key", "concurrently"))
            if not again or not remaining:
                raise
            time.sleep(_PAUSE_S)
        else:
            return


def _build_table(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE")  # else the driver would commit each statement by itself
    METADATA.create_all(connection)
    for statement in _GUARDS.get(connection.dialect.name, ()):
        connection.exec_driver_sql(statement)


def _set_write_ahead(connection: Connection) -> None:
    if connection.exec_driver_sql("PRAGMA journal_mode").scalar() != "wal":
        connection.exec_driver_sql("PRAGMA journal_mode = WAL")
