"""The delay from a finger to light, as it is computed from a film, stored, exported, shown."""

import random
from datetime import UTC, datetime

import numpy as np
import pyarrow.parquet as pq
import pytest

from battery.errors import UsageError
from battery.export import export_tidy
from battery.loop_delay import camera_rate_hz, held_checks, loop_check, loop_words
from battery.report import page_of, render
from battery.store import Store
from tests import clinic as made_up
from tests import store_kit as kit
from tests.export_kit import EVERYBODY

AT = "2026-05-01T10:00:00+00:00"
COUNTED_NS = [round(n * 1e9 / 60) for n in range(901)]  # a counter at 60 a second


def check(frames, *, camera_hz=240.0, edge="touch", at_utc=AT):
    return loop_check(
        kit.DEVICE.alias, edge, frames, camera_hz=camera_hz, program_ms=2.5, reader="AB",
        at_utc=at_utc,
    )  # fmt: skip


def test_the_cameras_rate_is_that_of_the_counter():
    """600 numbers at 60 a second last 10 s; 2,398 frames in them are 239.8 a second."""
    assert camera_rate_hz(COUNTED_NS, 100, 700, 2398) == pytest.approx(239.8)


@pytest.mark.parametrize(
    ("first", "last", "n_frames", "why"),
    [
        (700, 100, 2400, "that were shown"),
        (100, 901, 2400, "that were shown"),
        (100, 160, 240, "1.0 s apart"),
        (100, 700, 240, "24 a second"),
        (100, 700, 99999, "a second"),
    ],
)
def test_numbers_that_cannot_be_are_refused_with_the_way_out(first, last, n_frames, why):
    with pytest.raises(UsageError, match=why):
        camera_rate_hz(COUNTED_NS, first, last, n_frames)


def test_mean_spread_and_interval_by_hand():
    """Ten readings, five of 14 and five of 16 frames at 240 a second.

    Mean 15 frames = 62.5 ms. Deviations are 1 frame each, so the variance is 10/9 and the
    standard deviation 1.05409 frames = 4.3921 ms. Student's t for 9 degrees of freedom is
    2.262157 (printed tables: 2.262); half of the interval 2.262157 * 4.3921 / sqrt(10) =
    3.1419 ms.
    """
    found = check([14, 16] * 5)
    assert found.mean_ms == pytest.approx(62.5)
    assert found.sd_ms == pytest.approx(4.3921, abs=1e-4)
    assert found.low_ms == pytest.approx(62.5 - 3.1419, abs=1e-4)
    assert found.high_ms == pytest.approx(62.5 + 3.1419, abs=1e-4)
    assert (found.frames, found.n_read) == ("14 16 14 16 14 16 14 16 14 16", 10)


def test_readings_that_are_all_alike_are_no_finer_than_the_film():
    found = check([15] * 12)
    assert found.high_ms - found.low_ms == pytest.approx(1000 / 240)


@pytest.mark.parametrize("frames", [[15] * 9, [15] * 11 + [400], [15] * 11 + [-1]])
def test_too_few_or_impossible_readings_are_refused(frames):
    with pytest.raises(UsageError, match="Nothing was stored"):
        check(frames)


TRUE_MS, CAMERA_HZ = 60.0, 240.0


def filmed(source, n_touches=30):
    """Frames that a reader counts for a device of 60 pictures and 100 reports a second.

    The touch comes anywhere in a period of panel and display, each of which waits for its
    own next one; the reader sees either end up to half a frame of the film off.
    """
    read = []
    for _ in range(n_touches):
        delay_ms = TRUE_MS + source.uniform(0, 1000 / 60) + source.uniform(0, 10)
        off = source.uniform(-0.5, 0.5) + source.uniform(-0.5, 0.5)
        read.append(round(delay_ms * CAMERA_HZ / 1000 + off))
    return read


def test_thirty_touches_give_about_two_milliseconds_either_way():
    """Half of the interval is about 2.2 ms, and 95 % of the intervals hold the true mean.

    By hand: variances of a display's and a panel's period are (16.7 and 10 ms)^2 / 12, of
    reading either end and of rounding (4.17 ms)^2 / 12 each; their sum is 31.5 + 4.3 and its
    root 6.0 ms; times 2.045 / sqrt(30) it is 2.24 ms.
    """
    source = random.Random(7)
    true_ms = TRUE_MS + 500 / 60 + 5
    halves, n_held = [], 0
    for _ in range(1000):
        found = check(filmed(source))
        halves.append((found.high_ms - found.low_ms) / 2)
        n_held += found.low_ms <= true_ms <= found.high_ms
    assert np.mean(halves) == pytest.approx(2.2, abs=0.15)
    assert 930 <= n_held <= 970


def test_it_is_kept_exported_and_shown_beside_the_reaction_time(tmp_path):
    """And takes nothing off any number: with it and without it they are the same."""
    now = datetime(2026, 6, 1, tzinfo=UTC)
    with Store.open(tmp_path / "home") as store:
        store.people.add(kit.person())
        visit = made_up.one_visit(store, "K7QF", 0, device=kit.DEVICE)
        page = page_of(store, "K7QF", now=now)
        before = render(page)
        assert f"The delay of {kit.DEVICE.alias} from a finger to light was not" in before
        kept = [
            check([15, 16] * 15, at_utc="2026-05-01T10:00:00+00:00"),
            check([20, 21] * 15, at_utc="2026-05-02T10:00:00+00:00"),
            check([30, 31] * 15, edge="lift", at_utc="2026-05-03T10:00:00+00:00"),
        ]
        for one in kept:
            store.setup.put_loop_check(one)
        assert store.setup.loop_checks(kit.DEVICE.alias) == kept
        assert held_checks(store.setup.loop_checks()) == (kept[2], kept[1])
        after_page = page_of(store, "K7QF", now=now)
        after = render(after_page)
        assert loop_words(kept[1]) in after
        assert loop_words(kept[2]) in after
        assert loop_words(kept[0]) not in after
        assert "is not subtracted" in after
        assert repr(after_page.lines) == repr(page.lines)
        export_tidy(store, tmp_path / "study", selection=EVERYBODY)
        assert visit.device.alias == kit.DEVICE.alias
    rows = pq.read_table(tmp_path / "study" / "loop_checks.parquet").to_pylist()
    assert [row["edge"] for row in rows] == ["touch", "touch", "lift"]
    assert "reader" not in rows[0]
    assert rows[0]["frames"] == kept[0].frames
