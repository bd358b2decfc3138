"""The BIDS dataset: valid by the public validator, nothing in it that must not leave.

bids-validator-deno 3.0.2 is the validator that the BIDS maintainers publish; it runs without a
network. Motion-BIDS: Jeung et al. 2024, Sci Data 11:716.
"""

import csv
import gzip
import hashlib
import io
import itertools
import json
import re
import shutil
import subprocess
import sys
import tempfile
import warnings
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from battery.errors import StoreError, UsageError
from battery.export import export_bids
from battery.export.bids.bids_check import bids_findings
from battery.export.bids.bids_texts import CHANNELS, TASKS
from battery.export.choosing.deidentify import local
from battery.export.choosing.selection import Selection
from battery.stage.language.texts import WHAT_TO_DO
from battery.store import Store
from tests import clinic as made
from tests import store_kit as kit
from tests.export_kit import EVERYBODY
from tests.sparing import only
from tests.unit.test_cli_store import run


@pytest.fixture(scope="module")
def dataset(clinic, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bids") / "data"
    with Store.open(clinic, write=False) as store:
        counts = export_bids(store, folder)
    return folder, counts


@pytest.fixture
def copy(dataset, tmp_path):
    shutil.copytree(dataset[0], tmp_path / "data")
    return tmp_path / "data"


def errors(folder):
    """Codes of the errors that the public validator finds.

    It reads nothing below ``/dev``, where a run may keep what it writes.
    """
    program = Path(sys.executable).with_name("bids-validator-deno")
    found = shutil.which("bids-validator-deno") or program
    with tempfile.TemporaryDirectory() as place:
        looked_at = shutil.copytree(folder, Path(place) / "data")
        told = subprocess.run(
            [found, str(looked_at), "--format", "json"],
            capture_output=True,
            text=True,
            check=False,
        )
    issues = json.loads(told.stdout)["issues"]["issues"]
    return sorted({i["code"] for i in issues if i["severity"] == "error"})


def motion_files(folder):
    return sorted(folder.rglob("*_motion.tsv"))


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, delimiter="\t"))


def test_the_validator_finds_no_error(dataset):
    folder, counts = dataset
    assert errors(folder) == []
    assert bids_findings(folder) == []
    assert counts["motion files"] == len(motion_files(folder)) > 10


def replace_text(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def a_column_less(folder):
    path = motion_files(folder)[0]
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(x.rsplit("\t", 1)[0] for x in lines) + "\n", encoding="utf-8")


def the_entities_out_of_order(folder):
    path = motion_files(folder)[0]
    name = re.sub(r"_(task-[^_]+)_(tracksys-[^_]+)_", r"_\2_\1_", path.name)
    path.rename(path.with_name(name))


def no_sampling_frequency(folder):
    path = motion_files(folder)[0].with_suffix(".json")
    told = json.loads(path.read_text(encoding="utf-8"))
    del told["SamplingFrequency"]
    path.write_text(json.dumps(told), encoding="utf-8")


def a_type_in_small_letters(folder):
    path = sorted(folder.glob("*_channels.tsv"))[0]
    replace_text(path, "\tPOS\t", "\tpos\t")
    return "['pos']"


def a_third_hand(folder):
    replace_text(folder / "participants.tsv", "\tright\t", "\tthird\t")


def somebody_unlisted(folder):
    path = folder / "participants.tsv"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join(lines[:-1]) + "\n", encoding="utf-8")


def events_without_onset(folder):
    replace_text(next(folder.rglob("*_events.tsv")), "onset", "begin")


@pytest.mark.parametrize(
    "spoil",
    only(
        [
            a_column_less, the_entities_out_of_order, no_sampling_frequency,
            a_third_hand, somebody_unlisted, events_without_onset,
        ],
        [somebody_unlisted],
    ),
)  # fmt: skip
def test_the_validator_can_fail(copy, spoil):
    spoil(copy)
    assert errors(copy)


def a_header_row(folder):
    path = motion_files(folder)[0]
    header = "\t".join(channel[0] for channel in CHANNELS)
    path.write_text(f"{header}\n{path.read_text(encoding='utf-8')}", encoding="utf-8")
    return "a header row"


def time_that_goes_back(folder):
    path = motion_files(folder)[0]
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([*lines, lines[0]]) + "\n", encoding="utf-8")
    return "time goes back"


def a_channel_more(folder):
    path = sorted(folder.glob("*_channels.tsv"))[0]
    path.write_text(path.read_text(encoding="utf-8") + "x\tn/a\tMISC\tn/a\tn/a\tn/a\tx\n")
    return "channels in the sidecar"


def no_readme(folder):
    (folder / "README.md").unlink()
    return "README: missing"


def a_latency_of_nanoseconds(folder):
    path = motion_files(folder)[0]
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("0.000000\t", "0.000000000\t", 1), encoding="utf-8")
    return "at most six decimals"


def latencies_from_the_start_of_the_block(folder):
    path = motion_files(folder)[0]
    rows_ = [line.split("\t") for line in path.read_text(encoding="utf-8").splitlines()]
    late = [f"{float(row[0]) + 1:.6f}" for row in rows_]
    lines = ["\t".join([first, *row[1:]]) for first, row in zip(late, rows_, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return "not the first sample"


def onsets_from_the_start_of_the_block(folder):
    for path in sorted(folder.rglob("*_events.tsv")):
        lines = [line.split("\t") for line in path.read_text(encoding="utf-8").splitlines()]
        moved = [[f"{float(row[0]) + 0.7312345:.9f}", *row[1:]] for row in lines[1:]]
        text = "\n".join("\t".join(row) for row in [lines[0], *moved])
        path.write_text(text + "\n", encoding="utf-8")
    return "is at no sample"


def axes_that_are_none(folder):
    path = sorted(folder.glob("*_channels.json"))[0]
    replace_text(path, '"RA_"', '"RL_"')
    return "name no three axes"


def a_rule_of_rotation_that_is_none(folder):
    path = sorted(folder.glob("*_channels.json"))[0]
    replace_text(path, '"SpatialAxes"', '"RotationRule": "n/a", "SpatialAxes"')
    return "is no rule"


def pauses_called_continuous(folder):
    for path in sorted(folder.rglob("*_motion.json")):
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace('"discontinuous"', '"continuous"'), encoding="utf-8")
    return "called continuous and pauses"


@pytest.mark.parametrize(
    "spoil",
    [
        a_header_row, time_that_goes_back, a_channel_more, no_readme, a_latency_of_nanoseconds,
        latencies_from_the_start_of_the_block, onsets_from_the_start_of_the_block,
        a_type_in_small_letters, axes_that_are_none, a_rule_of_rotation_that_is_none,
        pauses_called_continuous,
    ],
)  # fmt: skip
def test_our_own_check_finds_what_the_validator_may_not(copy, spoil):
    said = spoil(copy)
    assert any(said in finding for finding in bids_findings(copy))


@pytest.mark.long
def test_a_type_in_small_letters_does_pass_the_validator(copy):
    """It does not look into channels that stand once for many files."""
    a_type_in_small_letters(copy)
    assert errors(copy) == []


@pytest.mark.long
def test_a_header_row_does_pass_the_validator(copy):
    """Why the check of our own is there."""
    a_header_row(copy)
    assert errors(copy) == []


def test_the_same_store_gives_the_same_bytes(clinic, dataset, tmp_path):
    with Store.open(clinic, write=False) as store:
        export_bids(store, tmp_path / "again")
    assert hashes(tmp_path / "again") == hashes(dataset[0])


def hashes(folder):
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in folder.rglob("*")
        if p.is_file()
    }


def test_nothing_planted_and_nobody_who_withdrew_is_in_it(clinic, dataset):
    folder, _ = dataset
    with Store.open(clinic, write=False) as store:
        gone = store.people.withdrawn()
    assert gone
    for path in folder.rglob("*"):
        content = path.read_bytes() if path.is_file() else b""
        for word in (*made.PLANTED, *gone, "2026-0"):
            assert word not in str(path.relative_to(folder))
            assert word.encode() not in content, path


def test_a_series_of_years_stays_before_1925(tmp_path):
    with Store.open(tmp_path / "store") as store:
        kit.enrol(store)
        for n, year in ((1, 2026), (2, 2027), (3, 2036), (4, 2046)):
            header = kit.visit("K7QF", n, started_utc=f"{year}-03-04T09:30:00+00:00")
            store.visits.begin(header)
            store.visits.end(header.visit_id, "finished")
        export_bids(store, tmp_path / "data", selection=EVERYBODY)
    path = tmp_path / "data" / "sub-K7QF" / "sub-K7QF_sessions.tsv"
    told = [datetime.fromisoformat(r["acq_time"]) for r in rows(path)]
    assert max(told).year < 1925
    assert (told[-1].date() - told[0].date()).days == 20 * 365 + 5  # leap years 2028 to 2044


@pytest.mark.parametrize("task", sorted(WHAT_TO_DO))
def test_instructions_are_those_of_the_screen(task):
    assert TASKS[task][1] == " ".join(WHAT_TO_DO[task])


def test_days_are_before_1925_and_keep_weekday_and_distance(clinic, dataset):
    with Store.open(clinic, write=False) as store:
        for person in store.people.all():
            path = dataset[0] / f"sub-{person.code}" / f"sub-{person.code}_sessions.tsv"
            if not path.exists():
                continue
            told = [datetime.fromisoformat(r["acq_time"]) for r in rows(path)]
            headers = [v.header for v in store.visits.all(person.code)]
            true = [local(h.started_utc, h.utc_offset_min) for h in headers]
            if len(told) != len(true):  # a visit that was moved by an amendment
                continue
            assert max(told).year < 1925
            assert [t.weekday() for t in told] == [t.weekday() for t in true]
            steps = [(b.date() - a.date()).days for a, b in itertools.pairwise(told)]
            assert steps == [(b.date() - a.date()).days
                             for a, b in itertools.pairwise(true)]  # fmt: skip


def test_a_motion_file_holds_every_report(clinic, dataset):
    folder, _ = dataset
    scans = [(p, row) for p in folder.rglob("*_scans.tsv") for row in rows(p)]
    with Store.open(clinic, write=False) as store:
        for path, row in scans[:6]:
            samples = store.records.load(row["block_id"]).samples
            table = np.genfromtxt(path.parent / row["filename"], delimiter="\t")
            assert table.shape == (len(samples), len(CHANNELS))
            assert np.array_equal(table[:, 5].astype(np.int64), samples["t_ns"])
            since_s = (samples["t_ns"] - samples["t_ns"][0]) / 1e9
            assert table[:, 0] == pytest.approx(since_s, abs=5.1e-7)
            assert table[:, 1] * 1000 == pytest.approx(samples["x_mm"], abs=1e-5)
            assert table[:, 2] * 1000 == pytest.approx(samples["y_mm"], abs=1e-5)
            assert np.array_equal(table[:, 4], samples["pointer"])
            assert np.array_equal(table[:, 6].astype(np.int64), samples["stamp_gap_ns"])
            assert np.array_equal(table[:, 7], samples["kind"])


def test_a_reader_of_the_field_makes_a_report_of_it(dataset):
    """mne-bids 0.20 (Appelhoff et al. 2019, J Open Source Softw 4:1896) reads them all."""
    mne_bids = pytest.importorskip("mne_bids")
    folder, counts = dataset
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        told = mne_bids.make_report(folder, verbose=False)
    assert f"{counts['motion files']} scans in total" in " ".join(told.split())


def test_a_pursuit_block_can_be_scored_again_from_the_dataset(clinic, dataset):
    """Settings, reports, frames and the chip's path are there; the score is in derivatives."""
    folder, _ = dataset
    path = next(folder.rglob("*task-pursuit_tracksys-handR01_stim.json"))
    told = json.loads(path.read_text())
    chip = np.loadtxt(
        io.StringIO(gzip.decompress(path.with_suffix(".tsv.gz").read_bytes()).decode())
    )
    motion = json.loads(path.with_name(path.name.replace("_stim", "_motion")).read_text())
    assert motion["Settings"]["parts"]
    table = np.genfromtxt(path.with_name(path.name.replace("_stim.json", "_motion.tsv")))
    visit = path.parents[1]
    stem = path.name.split("_tracksys")[0]
    scored = folder / "derivatives/scores" / visit.relative_to(folder) / "beh"
    scores = {r["measure"]: r for r in rows(next(scored.glob(f"{stem}_acq-handR_run-01_*")))}
    frames = folder / "sourcedata" / visit.relative_to(folder)
    assert gzip.decompress(next(frames.glob(f"{stem}_acq-handR_run-01_*")).read_bytes())
    t_s = told["StartTime"] + np.arange(len(chip)) / told["SamplingFrequency"]
    pressed = table[:, 3] == 1
    finger_mm = np.interp(t_s, table[pressed, 0], table[pressed, 1]) * 1000
    moving = np.abs(np.gradient(chip[:, 0])) > 1e-4
    rms_mm = np.sqrt(np.mean((finger_mm - chip[:, 0] * 1000)[moving] ** 2))
    assert rms_mm == pytest.approx(float(scores["pursuit.tracking_rmse_mm"]["value"]), rel=0.35)


def test_a_folder_that_holds_something_is_left_alone(clinic, tmp_path):
    (tmp_path / "mine.txt").write_text("x")
    with Store.open(clinic, write=False) as store:
        with pytest.raises(UsageError, match="is not empty; nothing was changed"):
            export_bids(store, tmp_path)
        with pytest.raises(UsageError, match="no person"):
            export_bids(store, tmp_path / "new", selection=Selection(people=["XXXX"]))
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_what_cannot_be_written_leaves_nothing(clinic, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("battery.export.bids.dataset.write_events", full)
    with (
        Store.open(clinic, write=False) as store,
        pytest.raises(StoreError, match="No space left on device"),
    ):
        export_bids(store, tmp_path / "new")
    assert list(tmp_path.iterdir()) == []


def test_the_command_writes_a_dataset_of_one_person(clinic, tmp_path):
    result = run("export", tmp_path / "b", "--bids", "--person", "k7qf", "--home", clinic)
    assert result.exit_code == 0, result.exception
    assert "participants" in result.output
    assert [p.name for p in (tmp_path / "b").glob("sub-*")] == ["sub-K7QF"]
    assert errors(tmp_path / "b") == []


@pytest.mark.long
def test_the_validator_finds_no_error_in_a_hundred_people(tmp_path, monkeypatch):
    """Two visits each, copied under new names; by hand: a minute of the validator."""
    monkeypatch.setattr(
        made, "PLAN", made.PLAN.model_copy(update={"tasks": made.PLAN.tasks[:2]})
    )
    monkeypatch.setattr(made, "PLANTED", ())
    letters = "ABCDEFGHJK"
    with Store.open(tmp_path / "home") as store:
        store.people.add(kit.person())
        visits = [
            store.transfer.whole_visit(made.one_visit(store, "K7QF", week).visit_id)
            for week in range(2)
        ]
        for code in (f"Z{a}{b}{c}" for a in "AB" for b in letters for c in letters[:5]):
            store.people.add(kit.person(code))
            for whole in visits:
                visit_id = kit.identifier(f"{code} {whole.header.sequence}")
                store.visits.begin(replace(whole.header, person=code, visit_id=visit_id))
                for block in whole.blocks:
                    block_id = kit.identifier(f"{visit_id} {block.header.index}")
                    told = replace(block.header, visit_id=visit_id, block_id=block_id)
                    store.records.begin(told).close(replace(block, header=told))
                store.visits.end(visit_id, "finished")
        counts = export_bids(store, tmp_path / "data", selection=EVERYBODY)
    assert (counts["participants"], counts["sessions"]) == (101, 202)
    assert errors(tmp_path / "data") == []
    assert bids_findings(tmp_path / "data") == []
