"""What several folders of tests share."""

import functools
import gc
import os
import shutil
import subprocess
import uuid

import pytest
import typer.main
import typer.testing
from filelock import FileLock
from hypothesis import settings
from sqlalchemy import create_engine, text

from tests import clinic as made_up_clinic
from tests import parts, postgres

# A loaded machine must not turn a law red; what a search finds in CI is found again.
settings.register_profile("here", deadline=None)
settings.register_profile(
    "ci", deadline=None, derandomize=True, print_blob=True, max_examples=20
)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# The commands are put together once a process, as in the program; a test asks many times.
typer.main.get_command = functools.cache(typer.main.get_command)
typer.testing._get_command = typer.main.get_command


def pytest_addoption(parser):
    """What a machine lacks is left out only if it is named."""
    parser.addoption(
        "--without",
        action="append",
        default=[],
        choices=[part.name for part in parts.PARTS],
        help="leave out the tests that need this part of the system",
    )


def pytest_collection_modifyitems(config, items):
    """Leave out the tests whose parts are missing, and count them as left out."""
    without = set(config.getoption("--without"))
    left_out = [item for item in items if without & needs(item)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in set(left_out)]


def pytest_collection_finish():
    """Take what was collected out of reach: every block clears memory first, as on a tablet.

    Else memory is cleared less often than usual, as a tenth of a run went into that.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def needs(item) -> set[str]:
    """The parts of the system a test needs: as it says, or by its fixtures."""
    told = {name for mark in item.iter_markers("needs") for name in mark.args}
    return told | {parts.BY_FIXTURE[f] for f in item.fixturenames if f in parts.BY_FIXTURE}


@pytest.fixture(scope="session")
def postgres_server():
    """The address of a PostgreSQL server of our own."""
    assert postgres.programs() is not None, "PostgreSQL is missing; run python -m tests"
    with postgres.server() as address:
        yield address


@pytest.fixture
def new_database(postgres_server):
    """A call that makes an empty database on it and returns its address."""

    def make():
        name = f"test_{uuid.uuid4().hex}"
        driver = postgres_server.replace("postgresql://", "postgresql+psycopg://")
        engine = create_engine(driver, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        engine.dispose()
        return postgres_server.replace("/postgres?", f"/{name}?")

    return make


@pytest.fixture
def empty_database(new_database):
    """The address of an empty database on it."""
    return new_database()


def made_once(factory, name, make):
    """Make a folder once a run, and give each of the run's processes a copy of its own.

    Parameters
    ----------
    factory : pytest.TempPathFactory
    name : str
    make : callable
        Fills an empty folder. Nobody opens what it made but by a copy.
    """
    run = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        run = run.parent
    made = run / f"{name} as made"
    with FileLock(f"{made}.lock"):
        if not made.exists():
            begun = factory.mktemp(f"{name} begun")
            make(begun)
            begun.rename(made)
    return shutil.copytree(made, factory.mktemp(name), dirs_exist_ok=True)


@pytest.fixture(scope="session")
def whole_clinic(tmp_path_factory):
    """The folder of an invented clinic's store. Copy it before changing anything."""
    return made_once(tmp_path_factory, "clinic", made_up_clinic.make)


@pytest.fixture(scope="session")
def clinic(whole_clinic):
    """The same; a file to which one task is enough says so by `small_clinic` in its place."""
    return whole_clinic


@pytest.fixture(
    scope="session",
    params=["one task", pytest.param("every task", marks=pytest.mark.long)],
)
def small_clinic(request, tmp_path_factory):
    """The same with visits of one task, a quarter of the blocks; by hand with all of them."""
    if request.param == "every task":
        return request.getfixturevalue("whole_clinic")
    return made_once(tmp_path_factory, "small clinic", made_up_clinic.make_small)


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
