"""Charts as the command writes them, and as a validator of another language takes them."""

import copy
import json
import shutil
import subprocess
from collections import Counter
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import UsageError
from battery.export.fhir import findings
from battery.store import Store
from battery.store.records import Records
from battery.store.scores import Scores
from battery.store.visits import Visits
from tests import charts
from tests.charts import model_refuses, of
from tests.unit.test_export_fhir import SPOILT


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_the_command_writes_a_chart_a_person_who_gave_consent(own_clinic, tmp_path):
    """By the door that people use, from a store with amendments, a stop and a withdrawal."""
    out = tmp_path / "charts"
    done = run("export", out, "--fhir", "--home", own_clinic)
    assert done.exit_code == 0, done.output
    assert {p.name for p in out.iterdir()} == {"K7QF.json", "M4WX.json"}  # X3CF withdrew
    first = {p.name: p.read_bytes() for p in out.iterdir()}
    for data in first.values():
        told = json.loads(data)
        assert findings(told) == []
        assert not model_refuses(told)
    with Store.open(own_clinic, write=False) as store:
        visit = store.visits.all("K7QF")[1].header
    day = visit.started_utc[:10]
    assert f'"effectiveDateTime": "{day}T'.encode() in first["K7QF.json"]
    assert run("export", out, "--fhir", "--home", own_clinic).exit_code == 0
    assert {p.name: p.read_bytes() for p in out.iterdir()} == first
    withdrawn = ("consent", "M4WX", "--withdrawn", "--form-version", 1, "--home", own_clinic)
    assert run(*withdrawn).exit_code == 0
    assert run("export", out, "--fhir", "--home", own_clinic).exit_code == 0
    assert {p.name for p in out.iterdir()} == {"K7QF.json"}
    page = tmp_path / "with page"
    done = run("export", page, "--fhir", "--attach", "html", "--home", own_clinic)
    assert done.exit_code == 0, done.output
    assert b'"contentType": "text/html"' in (page / "K7QF.json").read_bytes()


def test_what_everybody_brings_is_read_once_not_once_a_chart(own_clinic, tmp_path, monkeypatch):
    """Each chart reads one person: what is asked of the whole store does not grow with them.

    Amendments are few, and one may give somebody another person's visit.
    """
    asked = Counter()

    def counted(kind, name, whole):
        plain = getattr(kind, name)

        def call(*args, **kwargs):
            asked[f"{kind.__name__}.{name}"] += whole(args, kwargs)
            return plain(*args, **kwargs)

        monkeypatch.setattr(kind, name, call)

    counted(Visits, "all", lambda args, kw: len(args) == 1)
    counted(Visits, "answers", lambda args, kw: len(args) == 1 and not kw)
    counted(Scores, "all", lambda args, kw: len(args) == 1 and "person" not in kw)
    counted(Records, "in_brief", lambda args, kw: len(args) == 1 and not kw)
    seen = []
    for number, people in enumerate((["K7QF"], ["K7QF", "M4WX"])):
        asked.clear()
        words = [word for code in people for word in ("--person", code)]
        done = run("export", tmp_path / str(number), "--fhir", *words, "--home", own_clinic)
        assert done.exit_code == 0, done.output
        seen.append(dict(asked))
    assert seen[0] == seen[1]
    assert sum(seen[0].values()) > 0


def test_without_consent_the_reason_stands_in_the_bundle(own_clinic, tmp_path):
    with Store.open(own_clinic) as store:
        store.people.add(replace(charts.MADE.person(), code="P9QR"))
    out = tmp_path / "charts"
    done = run("export", out, "--fhir", "--home", own_clinic)
    assert "left out: 1 people without consent" in done.output
    assert not (out / "P9QR.json").exists()
    words = ("--person", "P9QR", "--without-consent", "own chart, asked on paper")
    assert run("export", out, "--fhir", *words, "--home", own_clinic).exit_code == 0
    told = json.loads((out / "P9QR.json").read_text(encoding="utf-8"))
    assert told["meta"]["tag"][0]["display"] == "own chart, asked on paper"
    assert findings(told) == []
    assert not model_refuses(told)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--fhir", "--person", "X3CF"), "withdrew consent"),
        (("--fhir", "--task", "trail"), "all tasks and days"),
        (("--fhir", "--csv"), "--fhir goes with"),
        (("--fhir", "--bids"), "--fhir goes with"),
        (("--fhir", "--attach", "word"), "say html or pdf"),
        (("--attach", "pdf"), "goes with --fhir"),
    ],
)
def test_what_does_not_go_together_is_refused_in_one_line(clinic, tmp_path, words, told):
    result = run("export", tmp_path / "out", *words, "--home", clinic)
    assert isinstance(result.exception, UsageError)
    assert told in str(result.exception)
    assert not (tmp_path / "out").exists()


def test_a_folder_with_something_else_is_left_alone(clinic, tmp_path):
    (tmp_path / "letter.json").write_text("{}")
    result = run("export", tmp_path, "--fhir", "--home", clinic)
    assert isinstance(result.exception, UsageError)
    assert {p.name for p in tmp_path.iterdir()} == {"letter.json"}


VALIDATE = """
const {Fhir} = require("fhir");
const bundle = JSON.parse(require("fs").readFileSync(process.argv[2]));
const found = new Fhir().validate(bundle, {errorOnUnexpected: true});
const bad = found.messages.filter(m => ["error", "fatal"].includes(m.severity));
console.log(JSON.stringify({valid: found.valid, bad: bad.map(m => m.message)}));
"""


@pytest.mark.long
def test_a_validator_of_another_language_takes_the_chart_and_refuses_what_it_can_see(
    tmp_path,
):
    """Structure and required bindings of R4 by `fhir` 4.12.0; needs npm and its registry."""
    npm = shutil.which("npm")
    assert npm, "npm is missing"
    wanted = [npm, "install", "--no-audit", "--no-fund", "--prefix", tmp_path, "fhir@4.12.0"]
    subprocess.run(wanted, check=True, capture_output=True, timeout=120)
    (tmp_path / "validate.js").write_text(VALIDATE)

    def looked_at(bundle):
        (tmp_path / "bundle.json").write_text(json.dumps(bundle))
        words = ["node", "validate.js", "bundle.json"]
        told = subprocess.run(
            words, cwd=tmp_path, check=True, capture_output=True, timeout=60, text=True
        )
        return json.loads(told.stdout)

    whole = charts.bundle()
    assert looked_at(whole) == {"valid": True, "bad": []}
    for name in ("wrong status", "no status", "unknown field", "report wrong status"):
        bundle = copy.deepcopy(whole)
        SPOILT[name](bundle, of(bundle, "Observation")[0])
        assert not looked_at(bundle)["valid"], name
