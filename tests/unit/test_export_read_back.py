"""An export proves itself: the same scores bit for bit, and every change is named."""

import json
import re
import shutil

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import BatteryError, UsageError
from battery.export import export_tidy, rescore_export, verify_export
from battery.export.checks import keys_check
from battery.export.reading import reader
from battery.export.rows import rebuilding
from battery.recording import canonical_json, short_hash
from battery.rescoring import rescore_all
from battery.store import Store
from tests.export_kit import FULL, NOW, package, put_right, rewrite, rows, set_value
from tests.sparing import share


def made(clinic, folder):
    home = shutil.copytree(clinic, folder / "clinic")
    with Store.open(home) as store:
        export_tidy(store, folder / "study", form=FULL, now=NOW)
    return folder / "study"


@pytest.fixture(scope="module")
def exported(whole_clinic, tmp_path_factory):
    return made(whole_clinic, tmp_path_factory.mktemp("export"))


@pytest.fixture(scope="module")
def small(small_clinic, tmp_path_factory):
    """An export of one task."""
    return made(small_clinic, tmp_path_factory.mktemp("small export"))


@pytest.fixture
def own(small, tmp_path):
    return shutil.copytree(small, tmp_path / "own")


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def mirrored(table):
    at = table.schema.get_field_index("x_mm")
    other = pa.array(-table.column("x_mm").to_numpy())
    return table.set_column(at, table.schema.field(at), other)


def test_the_same_scores_come_out_bit_for_bit(exported):
    """The store's own scores are the other side: they never went through a table."""
    done = rescore_export(exported)
    assert done.differ == []
    assert done.failed == {}
    assert done.n_values > 200
    assert done.n_other_version == 0


def test_every_block_comes_back_as_it_was_recorded(clinic, exported):
    with Store.open(clinic, write=False) as store:
        for read in reader.Export(exported).blocks():
            told = store.records.load(read.block.header.block_id)
            for name in ("samples", "frames", "events"):
                left, right = getattr(read.block, name), getattr(told, name)
                assert left.tobytes() == right.tobytes()
            assert read.block.ended_ns == told.ended_ns
            assert read.block.audit == told.audit
            assert read.block.header.settings == told.header.settings
            assert read.holds


def test_a_changed_sample_changes_a_score_and_is_named(own):
    def nudge(table):
        at = table.schema.get_field_index("x_mm")
        moved = np.array(table.column("x_mm").to_numpy())
        moved += 0.25
        return table.set_column(at, table.schema.field(at), pa.array(moved))

    rewrite(own, "samples", nudge)
    done = rescore_export(own)
    assert done.failed
    assert set(done.failed.values()) == {"it does not have its hash: it was changed"}


def test_an_untouched_export_verifies(exported):
    found = verify_export(exported)
    assert found.findings == ()
    assert (found.n_visits, found.n_samples > 1000) == (4, True)


def words(found):
    return " | ".join(f"{f.where}: {f.what}" for f in found.findings)


@pytest.mark.parametrize(
    ("table", "change", "told"),
    [
        ("samples", set_value("t_ns", 50, 1), "comes before the one it follows"),
        ("samples", set_value("pressure", 50, 0.5), "does not have its hash"),
        ("samples", mirrored, "does not have its hash"),
        ("events", set_value("kind", 3, "miss"), "does not have its hash"),
        ("events", set_value("block_id", 3, "nowhere"), "block"),
        ("frames", set_value("flip_ns", 1, 10**18), "go on for more than an hour"),
        ("events", set_value("x_mm", 0, float("inf")), "inf mm away"),
        ("blocks", set_value("n_samples", 0, 5), "stated are 5"),
        ("blocks", set_value("ending", 0, "stopped"), "does not have its hash"),
        ("blocks", set_value("hand_recorded", 0, "left"), "does not have its hash"),
        ("blocks", set_value("phase", 0, "test"), "does not have its hash"),
        ("blocks", set_value("layout", 0, "{}"), "do not have the hash"),
        ("blocks", set_value("visit_id", 0, "nowhere"), "refer to 1 visits"),
        ("blocks", set_value("task", 0, "juggling"), "no such task"),
        ("scores", set_value("measure", 0, "tapping.charm"), "refer to 1 measures"),
        ("people", set_value("person", 0, "M4WX"), "more than once"),
        ("frames", set_value("frame", 1, 7), "not numbered from 0"),
        ("settings", set_value("content", 0, "{}"), "do not have the hash"),
    ],
)
def test_what_a_careful_forger_changed_is_named(own, table, change, told):
    """Sizes, hashes and digest put right; only the hash of each block left as it was."""
    rewrite(own, table, change)
    assert told in words(verify_export(own))


KEYS = st.lists(
    st.tuples(st.sampled_from(["a", "b", "", None]), st.sampled_from([0, 5, 2**62, None])),
    max_size=9,
)


@settings(max_examples=40)
@given(st.lists(KEYS, max_size=3))
def test_keys_are_counted_as_rows_are_told_apart(tables):
    """Texts that a file numbers twice, or otherwise in another part, are the same texts."""
    made = []
    for keys in tables:
        numbers = pa.array([None if a is None else place for place, (a, _) in enumerate(keys)])
        words = pa.array([a or "" for a, _ in keys], pa.string())
        texts = pa.DictionaryArray.from_arrays(numbers.cast(pa.int32()), words)
        made.append(pa.table({"a": texts, "b": pa.array([b for _, b in keys], pa.int64())}))
    assert keys_check._n_distinct(made) == len({key for keys in tables for key in keys})


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=8,
)


@settings(max_examples=40)
@given(st.dictionaries(st.from_regex(r"[a-z][a-z0-9_]{0,5}", fullmatch=True), PLAIN))
def test_pieces_of_canonical_text_make_it_again(told):
    text = canonical_json(told)
    pieces = rebuilding.pieces_of(text)
    assert (pieces is None) == (not told)
    if pieces is not None:
        assert {name: value for name, (value, _) in pieces.items()} == json.loads(text)
        again = ",".join(f'"{name}":{pieces[name][1]}' for name in sorted(pieces))
        assert f"{{{again}}}" == text


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"a":1', '{"a":1}}', '{"a" :1}', '{"a":1,}', '{"a":1, "b":2}', "{a"],
)
def test_a_text_in_another_shape_has_no_pieces(text):
    assert rebuilding.pieces_of(text) is None


def test_settings_in_another_spelling_are_the_same_settings(own):
    """With other spaces, or one more nought; a number that is another is named."""

    def longer(text):
        plain = canonical_json(json.loads(text))
        return re.sub(r"(\d[.]\d+)([,}\]])", r"\g<1>0\2", plain)

    def spelled(change):
        def changed(table):
            at = table.schema.get_field_index("layout")
            texts = [change(text) for text in table.column("layout").to_pylist()]
            return table.set_column(at, table.schema.field(at), pa.array(texts))

        return changed

    rewrite(own, "blocks", spelled(lambda text: json.dumps(json.loads(text), indent=1)))
    assert not verify_export(own).findings
    rewrite(own, "blocks", spelled(longer))
    assert not verify_export(own).findings
    rewrite(own, "blocks", spelled(lambda text: text.replace("0", "1")))
    assert any("hash" in finding.what for finding in verify_export(own).findings)


def test_a_replay_is_made_where_it_is_asked_for(own):
    """Every hash made anew, with the program's own function: only the replay tells it."""

    def forged(table):
        blocks = {r.row["block_id"]: r for r in reader.Export(own).blocks()}
        hashes = [blocks[b].sha256 for b in table.column("block_id").to_pylist()]
        place = table.schema.get_field_index("sha256")
        return table.set_column(place, "sha256", pa.array(hashes))

    rewrite(own, "samples", mirrored)
    rewrite(own, "blocks", forged)
    assert verify_export(own).findings == ()
    assert "its replay gives" in words(verify_export(own, replay=True))


def test_a_file_that_is_not_what_its_hash_says_is_named_and_not_read(own):
    path = own / "samples" / "part-0001.parquet"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 4
    path.write_bytes(data)
    found = verify_export(own)
    assert words(found).startswith("samples/part-0001.parquet: it does not have the hash")
    assert found.n_blocks == 0


def test_tables_that_say_different_things_are_named(own):
    """Parquet changed with its hash put right, CSV left: a reader of either is misled."""
    packed = (own / "people.csv.gz").read_bytes()
    rewrite(own, "people", set_value("n_baseline", 0, 9))
    (own / "people.csv.gz").write_bytes(packed)
    put_right(own)
    assert "people.csv.gz: it does not hold the rows of people" in words(verify_export(own))


@pytest.mark.parametrize("path", ["../secret.csv", "/etc/passwd", "people.csv/../x"])
def test_a_path_that_leads_elsewhere_is_never_followed(own, path):
    told = package(own)
    told["resources"][0]["parts"][0]["path"] = path
    (own / "datapackage.json").write_text(json.dumps(told))
    assert "names another file; it was not followed" in words(verify_export(own))


def test_links_in_place_of_files_are_not_read(own, tmp_path):
    (own / "people.parquet").rename(tmp_path / "people.parquet")
    (own / "people.parquet").symlink_to(tmp_path / "people.parquet")
    assert "people.parquet: it is not there as a plain file" in words(verify_export(own))
    with pytest.raises(BatteryError, match="not a plain file"):
        list(reader.Export(own).rows("people"))


@pytest.mark.parametrize(
    "text", ["", "[]", '{"name": "x", "resources": []}', "[" * 100_000, '{"name": 1}']
)
def test_what_is_no_export_is_refused(tmp_path, text):
    (tmp_path / "datapackage.json").write_text(text)
    for check in (verify_export, rescore_export):
        with pytest.raises(UsageError, match="no export"):
            check(tmp_path)


@pytest.mark.parametrize("odd", share([7, None, "people", [], {"name": 7}, {}], 4))
def test_what_is_no_resource_is_named_and_the_others_are_read(own, odd):
    """Found by search: copies as CSV were looked up among resources that are none."""
    told = package(own)
    told["resources"].insert(0, odd)
    (own / "datapackage.json").write_text(json.dumps(told))
    put_right(own, right="digest")
    assert "the descriptor does not name it" in words(verify_export(own))
    rescore_export(own)


@pytest.mark.parametrize("parts", share([[], 7, {}, None], 3))
def test_a_table_whose_parts_make_no_sense_is_named(own, parts):
    told = package(own)
    next(r for r in told["resources"] if r["name"] == "scores")["parts"] = parts
    (own / "datapackage.json").write_text(json.dumps(told))
    put_right(own, right="digest")
    assert "scores" in words(verify_export(own))
    rescore_export(own)


def test_an_export_of_a_later_form_is_refused(own):
    told = package(own) | {"version": "9.0.0"}
    (own / "datapackage.json").write_text(json.dumps(told))
    with pytest.raises(UsageError, match=r"form 9\.0\.0"):
        verify_export(own)


def test_an_export_of_an_earlier_and_of_a_later_program_of_this_form_holds(own):
    """Fewer tables beside the records, or one more that is not known here."""
    told = package(own)
    gone = {"goals", "goal_levels"}
    told["resources"] = [r for r in told["resources"] if r["name"] not in gone]
    for name in gone:
        (own / f"{name}.parquet").unlink()
        (own / f"{name}.csv.gz").unlink()
    shutil.copy(own / "people.parquet", own / "neighbours.parquet")
    people = next(r for r in told["resources"] if r["name"] == "people")
    part = people["parts"][0] | {"path": "neighbours.parquet"}
    more = {"name": "neighbours", "format": "parquet", "parts": [part]}
    told["resources"].append(people | more | {"path": "neighbours.parquet"})
    (own / "datapackage.json").write_text(json.dumps(told))
    put_right(own)
    assert verify_export(own).findings == ()
    (own / "neighbours.parquet").write_bytes(b"x")
    assert "neighbours.parquet: it does not have" in words(verify_export(own))


def test_settings_that_were_altered_with_their_hash_do_not_hang_the_replay(own):
    def change(table):
        layout = json.loads(table.column("layout")[0].as_py())
        for name, value in layout.items():
            if isinstance(value, float):
                layout[name] = 0.0
        fixed = {r["settings_id"]: json.loads(r["content"]) for r in rows(own, "settings")}
        whole = fixed[table.column("settings_id")[0].as_py()] | layout
        table = set_value("layout", 0, json.dumps(layout))(table)
        return set_value("layout_hash", 0, short_hash(whole))(table)

    rewrite(own, "blocks", change)
    assert "block" in words(verify_export(own, replay=True))


def test_the_commands_say_it_in_words_and_by_their_status(own, tmp_path):
    assert run("verify", own).exit_code == 0
    out = tmp_path / "scores.csv"
    result = run("rescore", "--from", own, "--out", out)
    assert result.exit_code == 0
    assert "the rest the same bit for bit" in result.output
    assert out.read_text().splitlines()[0] == "block_id,measure,value,n,low,high,reason," + (
        "scoring_version"
    )
    (own / "people.csv.gz").write_text("")
    assert run("verify", own).exit_code == 1
    assert isinstance(run("rescore", "--out", out).exception, UsageError)


def test_a_store_that_was_rescored_exports_what_it_scored(own_clinic, tmp_path):
    """Also the block a killed program left, which had no scores until then."""
    with Store.open(own_clinic) as store:
        rescore_all(store, progress=lambda *_: None, n_processes=1)
        export_tidy(store, tmp_path / "study")
    done = rescore_export(tmp_path / "study")
    assert (done.differ, done.n_new) == ([], 0)
