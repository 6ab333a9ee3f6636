"""An invented case, and the stores that the promises are held against."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from diagnostics.cases import Case, CaseStore
from diagnostics.visit import open_case
from tests.cases.invented import START, build_invented_case

# An address of a PostgreSQL server to hold the same promises against, beside SQLite; its table is dropped.
SECOND_STORE = os.environ.get("OHMWARD_TEST_STORE", "")
KINDS = ("sqlite", "second") if SECOND_STORE else ("sqlite",)


@pytest.fixture
def case() -> Case:
    """Return an invented case that no store has seen."""
    return build_invented_case()


@pytest.fixture(params=KINDS)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return the address of an empty store."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'cases.sqlite3'}"
    engine = create_engine(SECOND_STORE)
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE IF EXISTS ohmward_events"))
    engine.dispose()
    return SECOND_STORE


@pytest.fixture
def store(url: str) -> Iterator[CaseStore]:
    """Return an empty store."""
    with CaseStore(url) as opened:
        yield opened


@pytest.fixture
def insert_row(url: str) -> Callable[[str, int, str, str], None]:
    """Return a function that puts a row beside the store's back: case id, revision, kind, body."""

    def insert(case_id: str, revision: int, kind: str, body: str) -> None:
        engine = create_engine(url)
        statement = text("INSERT INTO ohmward_events VALUES (:case_id, :revision, :kind, '', :body, :at)")
        row = {"case_id": case_id, "revision": revision, "kind": kind, "body": body, "at": START.isoformat()}
        with engine.begin() as connection:
            connection.execute(statement, row)
        engine.dispose()

    return insert


@pytest.fixture
def opened(store: CaseStore) -> Case:
    """Return an invented case in the store."""
    return open_case(store, build_invented_case())
