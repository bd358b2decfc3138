"""The check of pointer and picture: streams with known faults are found out."""

import pytest

from battery.flagging import flags_of_check
from battery.stage.pages.timing_check import DRAWN_NS, TimingPage, contact_ns, timing_check
from battery.stage.screen.pointer import Key, Report
from tests.screen.pilot import Scripted

MS = 1_000_000
AT = "2026-03-04T10:00:00.000+00:00"


def stream(rate_hz, seconds, *, pointer=1, begun_ns=0):
    """One touch that moves all the time."""
    step_ns = round(1e9 / rate_hz)
    times = range(begun_ns, begun_ns + round(seconds * 1e9), step_ns)
    kinds = ["down", *["move"] * (len(times) - 2), "up"]
    return [Report(t, 0, k, 0.0, 0.0, pointer) for t, k in zip(times, kinds, strict=True)]


def flips(rate_hz, seconds):
    return [round(n * 1e9 / rate_hz) for n in range(round(rate_hz * seconds))]


def check(reports, flips_ns=None):
    shown = flips(60, 5) if flips_ns is None else flips_ns
    return timing_check("T-A", reports, shown, flip_p99_ms=1.0, at_utc=AT)


@pytest.mark.parametrize(("rate_hz", "raised"), [(120, []), (60, []), (30, ["low_rate"])])
def test_the_rate_is_that_of_the_stream(rate_hz, raised):
    """60 reports a second are the least; a 30 Hz panel is found out."""
    found = check(stream(rate_hz, 5))
    assert found.report_rate_hz == pytest.approx(rate_hz, rel=0.001)
    assert found.longest_gap_ms == pytest.approx(1000 / rate_hz, rel=0.001)
    assert found.input_type == "touch"
    assert flags_of_check(found) == raised


def test_a_stream_with_gaps_is_found_out():
    """Two in a hundred intervals of 80 ms: the median rate is fine, the gaps are not."""
    reports = stream(120, 5)
    late_ns, gappy = 0, []
    for number, r in enumerate(reports):
        late_ns += 80 * MS if number % 50 == 49 else 0
        gappy.append(Report(r.t_ns + late_ns, 0, r.kind, 0.0, 0.0, 1))
    found = check(gappy)
    assert found.report_rate_hz == pytest.approx(120, rel=0.001)
    assert found.longest_gap_ms == pytest.approx(80 + 1000 / 120, rel=0.01)
    assert found.wide_gaps == pytest.approx(0.02, abs=0.002)
    assert flags_of_check(found) == ["low_rate"]


def test_lifting_the_finger_is_no_gap():
    reports = stream(120, 2.5) + stream(120, 2.5, pointer=2, begun_ns=10_000 * MS)
    assert check(reports).longest_gap_ms == pytest.approx(1000 / 120, rel=0.001)
    assert contact_ns(reports) == pytest.approx(5_000 * MS, abs=20 * MS)


def test_a_panel_that_hardly_tells_motion_is_found_out():
    """Down and up of long touches and three reports between them."""
    reports = [
        Report(t * MS, 0, kind, 0.0, 0.0, 1)
        for t, kind in (
            (0, "down"),
            (900, "move"),
            (1800, "move"),
            (2700, "move"),
            (3000, "up"),
        )
    ]
    found = check(reports)
    assert found.report_rate_hz == pytest.approx(1.0)
    assert flags_of_check(found) == ["low_rate"]


def test_too_little_is_unknown_and_not_nought():
    found = check([], [])
    assert (found.report_rate_hz, found.longest_gap_ms, found.frame_rate_hz) == (None,) * 3
    assert found.input_type == "none"
    assert flags_of_check(found) == []


def test_pointers_are_told_apart():
    assert check(stream(120, 5, pointer=0)).input_type == "mouse"
    assert check(stream(120, 2) + stream(120, 2, pointer=0)).input_type == "mixed"


def test_slow_pictures_are_flagged():
    slow = [n * 40 * MS for n in range(100)]
    assert flags_of_check(check(stream(120, 5), slow)) == ["slow_frames"]


def test_the_page_watches_for_five_seconds_of_drawing(headless):
    window, clock = headless
    window.reader = Scripted(clock)
    begun_ns = clock.now
    window.reader.add(*((r.t_ns, r) for r in stream(120, 20, begun_ns=begun_ns + 1_000 * MS)))
    page = TimingPage()
    page.run(window)
    assert contact_ns(page.reports) == pytest.approx(DRAWN_NS, abs=20 * MS)
    found = check(page.reports, page.flips_ns)
    assert found.report_rate_hz == pytest.approx(120, rel=0.01)
    assert found.frame_rate_hz == pytest.approx(60, rel=0.05)


@pytest.mark.parametrize("pressed", [True, False])
def test_the_page_ends_without_a_finger_too(headless, pressed):
    window, clock = headless
    window.reader = Scripted(clock)
    begun_ns = clock.now
    if pressed:
        window.reader.add((begun_ns + 500 * MS, Key("a")))
    TimingPage().run(window)
    assert (clock.now - begun_ns) / 1e9 == pytest.approx(0.5 if pressed else 30.0, abs=0.1)
