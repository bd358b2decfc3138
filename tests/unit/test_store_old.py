"""Stores of earlier versions are read, brought up to date, and still replay."""

import itertools
import json
import shutil
from pathlib import Path

import pytest

from battery.export import export_tidy
from battery.store import Store
from battery.store.migrations import STEPS
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tests.data.make_store import told_by
from tests.export_kit import EVERYBODY
from tests.sparing import only

DATA = Path(__file__).resolve().parents[1] / "data"
OLD = sorted(
    DATA.glob("store_v*.sqlite"), key=lambda path: int(path.stem.removeprefix("store_v"))
)


def test_there_is_a_store_of_every_version_before_this_one():
    kept = [p.stem for p in OLD]
    assert kept[: len(STEPS) - 1] == [f"store_v{n}" for n in range(1, len(STEPS))]


@pytest.mark.parametrize(
    ("path", "write"),
    only(
        list(itertools.product(OLD, (False, True))),
        [(OLD[0], True), *((path, False) for path in OLD[1::4]), (OLD[-1], True)],
    ),
)
def test_an_old_store_tells_what_it_told_then(path, write, tmp_path):
    """Every value of then is there now; later versions may tell more."""
    shutil.copyfile(path, tmp_path / FILE_NAME)
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    with Store.open(tmp_path, write=write) as store:
        assert_within(expected, told_by(store), path.stem)
        assert verify(store).findings == ()
        done = export_tidy(store, tmp_path / "out", selection=EVERYBODY)
        assert done.n_rows["blocks"] > 0


@pytest.mark.parametrize("path", OLD, ids=lambda path: path.stem)
def test_every_old_store_is_read(path, tmp_path):
    shutil.copyfile(path, tmp_path / FILE_NAME)
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    with Store.open(tmp_path, write=False) as store:
        assert_within(expected, told_by(store), path.stem)


def assert_within(old, new, where):
    if isinstance(old, dict):
        assert set(old) <= set(new), where
        for key, value in old.items():
            assert_within(value, new[key], f"{where}.{key}")
    elif isinstance(old, list):
        assert len(old) == len(new), where
        for index, value in enumerate(old):
            assert_within(value, new[index], f"{where}[{index}]")
    else:
        assert old == new, where
