"""An alarm inside a bundle that waits for a choice is named on the list all the same."""

import pytest

from battery.alarms import alarms_of, set_limit
from battery.handover import keys, waiting_alarms, waiting_lines
from battery.handover.receiving import admit
from battery.report.caseload import caseload
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.unit.test_cli_store import run

AT = "2026-05-20T10:00:00+00:00"
SIGN = "K7QF, 2026-01-05: a new emergency sign was answered yes, in a bundle that waits"


def answered(store, sequence, question, value, moment="before"):
    (visit,) = [v for v in store.visits.all() if v.header.sequence == sequence]
    store.visits.put_answer(visit.header.visit_id, moment, question, value, at_utc=AT)


def told(clinic):
    return waiting_lines(waiting_alarms(clinic))


@pytest.fixture
def strange(tmp_path):
    """A tablet whose key nobody has accepted; the clinic knows neither it nor its person."""
    pair = hand.Pair(tmp_path, accepted=False)
    answered(pair.tablet, 1, "red_flags", "yes")
    answered(pair.tablet, 2, "pain", "8")
    yield pair
    pair.close()


def test_an_alarm_of_an_unknown_tablet_is_named_until_the_choice(strange):
    strange.tablet.annotations.add_marker("K7QF", "fall", at_utc=AT, note="in the kitchen")
    strange.send()
    assert set(strange.receive().outcomes) == {"device"}
    assert strange.clinic.visits.all() == []
    said = told(strange.clinic)
    assert SIGN in said
    assert any("pain 8 of 10" in line for line in said)
    assert any("fall: in the kitchen" in line for line in said)
    home = strange.clinic.folder
    for command in ("people", "quarantine"):
        done = run(command, "--home", home)
        assert done.exit_code == 0, done.output
        assert f"ALARM {SIGN}" in done.output.replace("\n", " ")
    assert "ALARM" not in run("people", "--only", "overdue", "--home", home).output
    strange.take(strange.clinic.transfer.quarantine()[0])  # the tablet
    assert SIGN in told(strange.clinic), "its person is still unknown"
    strange.take(strange.clinic.transfer.quarantine()[0])
    assert told(strange.clinic) == []
    (row,) = caseload(strange.clinic, now=hand.NOW)
    assert "emergency sign" in row.alarms[0]


def test_receiving_says_it_at_once(strange):
    strange.send()
    done = run("receive", strange.stick, "--home", strange.clinic.folder)
    assert f"ALARM {SIGN}" in done.output.replace("\n", " ")


def test_two_versions_of_a_visit_hide_no_alarm(pair):
    """Neither is in the tables while they wait; both say the same, which is told once."""
    answered(pair.tablet, 1, "red_flags", "yes")
    pair.send()
    pair.receive()
    assert told(pair.clinic) == []
    header = pair.tablet.visits.all()[0].header
    other = hand.packed(hand.whole(header, seed=99, n_blocks=2), number=9)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "conflict"
    assert alarms_of(pair.clinic, "K7QF") == ()
    assert told(pair.clinic) == [SIGN]


def test_what_was_seen_taken_back_or_lies_under_the_limit_is_silent(strange):
    """The clinic's own limits and acknowledgements decide, as on the list."""
    fall = strange.tablet.annotations.add_marker("K7QF", "fall", at_utc=AT, note="another's")
    strange.tablet.annotations.take_back(
        "K7QF", "event", fall.marker_id, reason="slip", author="AB", at_utc=AT
    )
    strange.send()
    strange.receive()
    assert not any("fall" in line for line in told(strange.clinic))
    assert any("pain 8" in line for line in told(strange.clinic))
    set_limit(strange.clinic, "pain", 9)
    assert told(strange.clinic) == [SIGN]
    (alarm,) = [a for w in waiting_alarms(strange.clinic) for a in w.alarms]
    strange.clinic.people.add(kit.person())
    strange.clinic.annotations.acknowledge_alarm("K7QF", alarm.key, author="AB", at_utc=AT)
    assert told(strange.clinic) == []


def test_what_cannot_be_read_is_not_taken_for_silence(strange, monkeypatch):
    strange.send()
    strange.receive()
    monkeypatch.setattr(
        type(strange.clinic.transfer), "quarantined_content", lambda *_: (b"no bundle", "AAAA")
    )
    assert len(told(strange.clinic)) == 2
    assert all("whether it holds an alarm is not known" in x for x in told(strange.clinic))
