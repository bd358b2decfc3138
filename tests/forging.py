"""Bundles that an accepted tablet signs and that lie, with every hash put right.

Each lie changes one thing of a bundle that is true; whoever forges with care also makes the
hashes of blocks, visit and parts agree with it.
"""

import contextlib
import json

import numpy as np

from battery.recording import (
    FRAME_DTYPE,
    SAMPLE_DTYPE,
    Block,
    block_header_from_dict,
    events_to_array,
    short_hash,
    visit_header_from_dict,
)
from battery.store.arrival import visit_sha256
from battery.store.codec import events_from_json, events_to_json
from tasks.contract import Event
from tests import store_kit as kit
from tests.property.test_fuzz_bundles import parts_of, put_right, zipped

AT = "2026-05-01T10:00:00+00:00"
SAID = {"author": "AB", "reason": "so it was", "at_utc": AT}


class Bundle:
    """The parts of a bundle, to be changed one at a time."""

    def __init__(self, content):
        self.parts = parts_of(content)
        self.manifest, self.record, self.beside = (
            json.loads(self.parts[f"{name}.json"]) for name in ("manifest", "record", "beside")
        )
        self.visit, self.person = self.record["visit"], self.record["person"]
        self.facts = self.record["blocks"][1]
        self.block = self.facts["header"]

    def array(self, kind, dtype):
        return np.frombuffer(self.parts[f"001.{kind}"], dtype=dtype).copy()

    def put(self, kind, array):
        self.parts[f"001.{kind}"] = array.tobytes()

    def events(self):
        return events_from_json(self.parts["001.events"].decode())

    def put_events(self, events):
        self.parts["001.events"] = events_to_json(events).encode()

    def content(self):
        # Of a block that cannot be there is no hash; its form is looked at before that.
        with contextlib.suppress(
            ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError
        ):
            self._hash_again()
        for name in ("manifest", "record", "beside"):
            told = getattr(self, name)
            self.parts[f"{name}.json"] = json.dumps(told).encode("utf-8", "surrogatepass")
        put_right(self.parts)
        return zipped(self.parts)

    def _hash_again(self):
        for place, facts in enumerate(self.record["blocks"]):
            name = f"{place:03d}"
            facts["sha256"] = Block(
                header=block_header_from_dict(facts["header"]),
                samples=np.frombuffer(self.parts[f"{name}.samples"], dtype=SAMPLE_DTYPE),
                frames=np.frombuffer(self.parts[f"{name}.frames"], dtype=FRAME_DTYPE),
                events=events_to_array(events_from_json(self.parts[f"{name}.events"].decode())),
                ending="finished",
                ended_ns=0,
            ).sha256
        header = visit_header_from_dict(self.visit)
        self.manifest["content_sha256"] = visit_sha256(
            header, self.record["ending"], self.record["blocks"]
        )


def says(place, value):
    """One field says something else; places are such as ``visit.device.screen.width_px``."""

    def change(bundle):
        *way, last = place.split(".")
        held = getattr(bundle, way[0])
        for name in way[1:]:
            held = held[name]
        held[last] = value
        if place.startswith("block.settings") or place == "block.settings":
            bundle.block["layout_hash"] = short_hash(bundle.block["settings"])

    return change


def settings_say(**values):
    def change(bundle):
        bundle.block["settings"].update(values)
        bundle.block["layout_hash"] = short_hash(bundle.block["settings"])

    return change


def code(text):
    """Person and visit agree on a code that cannot be."""

    def change(bundle):
        bundle.person["code"] = bundle.visit["person"] = text

    return change


def alias(text):
    def change(bundle):
        bundle.record["device"]["alias"] = bundle.visit["device"]["alias"] = text

    return change


def screen(name, value):
    def change(bundle):
        bundle.visit["device"]["screen"][name] = value
        bundle.record["device"]["screen"][name] = value

    return change


def samples(column, row, value):
    def change(bundle):
        array = bundle.array("samples", SAMPLE_DTYPE)
        array[column][row] = value
        bundle.put("samples", array)

    return change


def frames_backwards(bundle):
    array = bundle.array("frames", FRAME_DTYPE)
    bundle.put("frames", array[::-1].copy())


def event(**values):
    def change(bundle):
        first, *rest = bundle.events()
        told = {name: getattr(first, name) for name in first.__slots__} | values
        bundle.put_events([Event(**told), *rest])

    return change


def beside(part, table, **row):
    """A row beside; what is a function is asked of the bundle."""

    def change(bundle):
        told = {name: v(bundle) if callable(v) else v for name, v in row.items()}
        bundle.beside[part].setdefault(table, []).append(told)

    return change


def own_visit(bundle):
    return bundle.visit["visit_id"]


def own_person(bundle):
    return bundle.person["code"]


def amendment(**changes):
    row = {
        "amendment_id": kit.identifier("lie"), "visit_id": own_visit, "block_id": None,
        "field": "excluded", "old": "no", "new": "yes", **SAID,
    }  # fmt: skip
    return beside("visit", "amendments", **{**row, **changes})


def marker(**changes):
    row = {
        "marker_id": kit.identifier("lie"), "person": own_person, "kind": "fall",
        "at_utc": AT, "note": "",
    }  # fmt: skip
    return beside("person", "markers", **{**row, **changes})


def practice(**changes):
    row = {
        "practice_id": kit.identifier("lie"), "person": own_person, "kind": "reported",
        "exercise": "all", "hand": None, "minutes": 10.0, "symptoms": 1,
        "local_date": "2026-03-12", "at_utc": AT,
    }  # fmt: skip
    return beside("person", "practice", **{**row, **changes})


def answer(**changes):
    row = {
        "answer_id": kit.identifier("lie"), "visit_id": own_visit, "number": 50,
        "block_id": None, "moment": "before", "question": "pain", "value": "3", "at_utc": AT,
    }  # fmt: skip
    return beside("visit", "answers", **{**row, **changes})


def prescription(**changes):
    row = {
        "prescription_id": kit.identifier("lie"), "person": own_person,
        "from_date": "2026-03-12", "per_week": 7.0, "note": "", "author": "AB", "at_utc": AT,
    }  # fmt: skip
    return beside("person", "prescriptions", **{**row, **changes})


def same_place_twice(bundle):
    bundle.record["blocks"][0]["header"]["index"] = bundle.block["index"]


def of_another_visit(bundle):
    bundle.block["visit_id"] = kit.identifier("another visit")


def lies(others_visit, others_block, others_amendment):
    """Every lie with a word that names it, by its name.

    Parameters
    ----------
    others_visit, others_block, others_amendment : str
        What the clinic holds of somebody else.
    """
    long_ago, never = "0001-01-01T00:00:00.000+00:00", "9999-12-31T23:59:59.000+00:00"

    def own_id_of_other(bundle):
        bundle.visit["visit_id"] = others_visit
        for facts in bundle.record["blocks"]:
            facts["header"]["visit_id"] = others_visit
        for rows in bundle.beside["visit"].values():
            for row in rows:
                row["visit_id"] = others_visit if "visit_id" in row else None

    return {
        "code climbs": (code("/../../../X"), "code"),
        "code is a formula": (code("=1+1"), "code"),
        "code is a link": (code('=HYPERLINK("x")'), "code"),
        "code in small letters": (code("m4wx"), "code"),
        "code empty": (code(""), "code"),
        "code very long": (code("A" * 5000), "code"),
        "code is a number": (code(12), "code"),
        "visit id a word": (says("visit.visit_id", "x"), "visit_id"),
        "visit id climbs": (says("visit.visit_id", "../../../x"), "visit_id"),
        "visit id another person's": (own_id_of_other, "visit_id"),
        "sequence 0": (says("visit.sequence", 0), "sequence"),
        "sequence -1": (says("visit.sequence", -1), "sequence"),
        "sequence huge": (says("visit.sequence", 10**9), "sequence"),
        "sequence true": (says("visit.sequence", True), "sequence"),
        "plan name climbs": (says("visit.plan_name", "../x"), "plan_name"),
        "plan hash another": (says("visit.plan_hash", "0" * 16), "plan_hash"),
        "plan hash none": (says("visit.plan_hash", "no hash"), "plan_hash"),
        "plan another": (says("record.plan", '{"name": "own", "tasks": []}'), "plan"),
        "plan no plan": (says("record.plan", "[]"), "plan"),
        "alias climbs": (alias("../../x"), "alias"),
        "alias a formula": (alias("=1+1"), "alias"),
        "screen 0 wide": (screen("width_px", 0), "width_px"),
        "screen huge": (screen("height_px", 10**9), "height_px"),
        "scale 0": (screen("mm_per_px_x", 0.0), "mm_per_px_x"),
        "scale no number": (screen("mm_per_px_y", float("nan")), "mm_per_px_y"),
        "scale huge": (screen("mm_per_px_x", 1e308), "mm_per_px_x"),
        "scale source": (screen("scale_source", "eye"), "scale_source"),
        "system not text": (says("visit.device.system", "a\0b"), "system"),
        "visit began a word": (says("visit.started_utc", "a word"), "started_utc"),
        "visit began in 9999": (says("visit.started_utc", never), "started_utc"),
        "visit began in 1": (says("visit.started_utc", long_ago), "started_utc"),
        "visit began nowhere": (
            says("visit.started_utc", "2026-03-02T09:00:00"), "started_utc",
        ),
        "visit began elsewhere": (
            says("visit.started_utc", "2026-03-02T09:00:00+01:00"), "started_utc",
        ),
        "offset huge": (says("visit.utc_offset_min", 10**9), "utc_offset_min"),
        "offset 27 h": (says("visit.utc_offset_min", -27 * 60), "utc_offset_min"),
        "software long": (says("visit.software", "a" * 5000), "software"),
        "origin": (says("visit.origin", "stolen"), "origin"),
        "protocol 0": (says("visit.protocol_version", 0), "protocol_version"),
        "record version 0": (says("visit.record_version", 0), "record_version"),
        "visit ended so": (says("record.ending", "\x1b[2J"), "no text"),
        "dominant hand": (says("person.dominant_hand", "both"), "dominant_hand"),
        "affected side": (says("person.affected_side", "none"), "affected_side"),
        "enrolled a word": (says("person.enrolled_utc", "soon"), "enrolled_utc"),
        "baseline 0": (says("person.n_baseline", 0), "n_baseline"),
        "baseline 1": (says("person.n_baseline", 1), "n_baseline"),
        "baseline huge": (says("person.n_baseline", 10**9), "n_baseline"),
        "familiarisation -1": (says("person.n_familiarisation", -1), "n_familiarisation"),
        "task nosuch": (says("block.task", "nosuch"), "nosuch"),
        "task another": (says("block.task", "trail"), "settings"),
        "rules to come": (says("block.task_version", 99), "version 99"),
        "hand": (says("block.hand", "third"), "hand"),
        "phase": (says("block.phase", "exam"), "phase"),
        "seed beyond its type": (says("block.layout_seed", 2**63 + 5), "layout_seed"),
        "seed -1": (says("block.layout_seed", -1), "layout_seed"),
        "layout hash another": (says("block.layout_hash", "0" * 16), "layout_hash"),
        "settings empty": (says("block.settings", {}), "settings"),
        "settings another": (says("block.settings", {"x": 1}), "settings"),
        "duration endless": (settings_say(duration_s=1e308), "duration_s"),
        "duration no number": (settings_say(duration_s=float("nan")), "duration_s"),
        "duration below 0": (settings_say(duration_s=-1.0), "duration_s"),
        "duration a word": (settings_say(duration_s="long"), "settings"),
        "block began nonsense": (says("block.started_utc", "nonsense"), "started_utc"),
        "index -1": (says("block.index", -1), "index"),
        "index huge": (says("block.index", 10**6), "index"),
        "two of one place": (same_place_twice, "same place"),
        "of another visit": (of_another_visit, "another visit"),
        "block id a word": (says("block.block_id", "x"), "block_id"),
        "block id another person's": (says("block.block_id", others_block), "contradicts"),
        "versions numbers": (says("block.versions", {"python": 3}), "versions"),
        "block ended so": (says("facts.ending", "won"), "ending"),
        "ended before it began": (says("facts.ended_ns", -1), "ended_ns"),
        "ended before its events": (says("facts.ended_ns", 1), "ended_ns"),
        "reason long": (says("facts.reason", "a" * 100_000), "reason"),
        "audit below 0": (says("facts.audit", {"flip_p99_ms": -1.0}), "flip_p99_ms"),
        "audit a word": (says("facts.audit", {"flip_p99_ms": "fast"}), "flip_p99_ms"),
        "samples go back": (samples("t_ns", 5, 0), "samples.t_ns"),
        "samples take hours": (samples("t_ns", -1, 2**62), "samples.t_ns"),
        "samples far away": (samples("x_mm", 3, 1e9), "samples.x_mm"),
        "samples of no kind": (samples("kind", 3, 9), "samples.kind"),
        "samples of pointer -1": (samples("pointer", 3, -1), "samples.pointer"),
        "stamp gap below 0": (samples("stamp_gap_ns", 3, -1), "stamp_gap_ns"),
        "frames go back": (frames_backwards, "frames"),
        "event of no kind": (event(kind="won"), "events.kind"),
        "event of trial 10**6": (event(trial=10**6), "events.trial"),
        "event's label": (event(label="\x1b[2J"), "no text"),
        "event far away": (event(x_mm=-1e9), "events.x_mm"),
        "number far ahead": (says("manifest.number", 10**12), "number"),
        "made a word": (says("manifest.made_utc", "later"), "no time"),
        "amends another's visit": (amendment(visit_id=others_visit), "amendments.visit_id"),
        "amends another's block": (
            amendment(visit_id=None, block_id=others_block), "amendments.block_id",
        ),
        "amends what cannot be": (amendment(field="score"), "field"),
        "amends to maybe": (amendment(new="maybe"), "new"),
        "amends at a word": (amendment(at_utc="then"), "at_utc"),
        "takes another's row": (
            amendment(amendment_id=others_amendment, at_utc="2098-01-01T00:00:00+00:00"),
            "amendments",
        ),
        "event around nobody": (marker(person="ZZZZ"), "markers.person"),
        "event around another": (marker(person="K7QF"), "markers.person"),
        "event of no kind around": (marker(kind="miracle"), "kind"),
        "practised for ever": (practice(minutes=float("inf")), "minutes"),
        "practised never": (practice(local_date="2026-13-45"), "local_date"),
        "answers 99": (answer(value="99"), "pain"),
        "answers no question": (answer(question="mood"), "mood"),
        "planned never": (prescription(from_date="9999-99-99"), "from_date"),
        "planned for another": (prescription(person="K7QF"), "prescriptions.person"),
    }  # fmt: skip
