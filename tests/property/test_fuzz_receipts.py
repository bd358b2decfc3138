"""Receipts that anybody may have left on a stick: none marks or stops anything."""

import base64
import json

import pytest

from battery.handover import keys
from battery.handover.receipts import SIGNED_AS
from battery.recording import canonical_json
from tests import handover_kit as hand
from tests import mutations

ODD = (
    b'{"body":{"format":1,"tablet":"%s","bundles":[[1e999,"x"]]},"signature":""}',
    b'{"body":{"format":1e999,"tablet":"%s","bundles":[]},"signature":""}',
    b'{"body":{"format":1,"tablet":"%s","bundles":[[NaN,"x"]]},"signature":""}',
    b'{"body":{"format":-Infinity,"tablet":"%s","bundles":[]},"signature":""}',
)


@pytest.fixture
def sent(tmp_path):
    """A tablet with a visit whose receipt has come, and the receipt."""
    pair = hand.Pair(tmp_path, n_visits=1)
    pair.send()
    pair.receive()
    (path,) = pair.stick.glob("*.receipt")
    yield pair, path, path.read_bytes()
    pair.close()


@pytest.mark.parametrize("data", ODD)
def test_a_number_without_end_is_a_line_and_the_visits_go(sent, data):
    pair, path, _ = sent
    mark = keys.fingerprint(keys.tablet_key(pair.tablet).public_key().public_bytes_raw())
    path.write_bytes(data.replace(b"%s", mark.encode()))
    hand.record_visits(pair.tablet, 1, first=2)
    report = pair.send()
    assert report.n_sent == 1
    assert report.n_acknowledged == 0
    assert "it is no receipt" in report.problems[0]


@pytest.mark.parametrize("n", [40, pytest.param(2_000, marks=pytest.mark.long)])
def test_spoilt_receipts_mark_nothing_and_stop_nothing(sent, n):
    """Spoilt bytes, and well-formed lies signed anew, by the clinic's key or another's."""
    pair, path, true = sent
    random_source = mutations.source(7)
    clinic = keys.clinic_keys(pair.clinic)
    n_marked = 0
    for _ in range(n):
        path.write_bytes(spoilt(true, random_source, clinic.signer))
        report = pair.send()
        assert all("\n" not in line for line in report.problems)
        n_marked += report.n_acknowledged
    assert n_marked <= 1  # one that still says what the true one says
    assert hand.hashes(pair.tablet)


def spoilt(true, random_source, signer):
    how = random_source.randrange(3)
    if how == 0:
        return mutations.bytes_changed(true, random_source)
    whole = mutations.json_changed(json.loads(true), random_source)
    if how == 1 and isinstance(whole, dict) and isinstance(whole.get("body"), dict):
        by = signer if random_source.random() < 0.7 else hand.key("stranger")
        body = canonical_json(whole["body"]).encode("utf-8", "surrogatepass")
        whole["signature"] = base64.b64encode(by.sign(SIGNED_AS + body)).decode()
    return json.dumps(whole).encode("utf-8", "surrogatepass")
