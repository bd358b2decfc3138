"""What several folders of tests share."""

import uuid

import pytest
from sqlalchemy import create_engine, text

from tests import postgres


@pytest.fixture(scope="session")
def postgres_server():
    """The address of a PostgreSQL server of our own."""
    if postgres.programs() is None:
        pytest.skip("no PostgreSQL server on this machine (Debian: postgresql)")
    pytest.importorskip("psycopg")
    with postgres.server() as address:
        yield address


@pytest.fixture
def empty_database(postgres_server):
    """The address of an empty database on it."""
    name = f"test_{uuid.uuid4().hex}"
    driver = postgres_server.replace("postgresql://", "postgresql+psycopg://")
    engine = create_engine(driver, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return postgres_server.replace("/postgres?", f"/{name}?")
