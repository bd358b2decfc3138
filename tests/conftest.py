"""What several folders of tests share."""

import shutil
import subprocess
import uuid

import pytest
from sqlalchemy import create_engine, text

from tests import clinic as made_up_clinic
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


@pytest.fixture(scope="session")
def clinic(tmp_path_factory):
    """The folder of an invented clinic's store. Copy it before changing anything."""
    folder = tmp_path_factory.mktemp("clinic")
    made_up_clinic.make(folder)
    return folder


@pytest.fixture
def own_clinic(clinic, tmp_path):
    """A copy of the clinic that a test may change."""
    return shutil.copytree(clinic, tmp_path / "clinic")


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 2 MB; only the system's administrator may make one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)],
        check=False, capture_output=True,
    )  # fmt: skip
    if made.returncode != 0:
        pytest.skip("no right to mount a small disk; the file size limit is tested instead")
    yield disk
    subprocess.run(["umount", "--lazy", str(disk)], check=True)
