"""Discs do not go to and fro faster than twice a second, and a cue is never kept waiting."""

import itertools

from battery.stage.drawing.flicker import STANDS_NS, Calm
from tasks.contract import Disc, Line

MS = 1_000_000
LINE = Line(((0.0, 0.0), (10.0, 0.0)), 2.0, "track")


def disc(role, x_mm=0.0, r_mm=10.0):
    return Disc(x_mm, 0.0, r_mm, role)


def test_a_disc_that_bounces_changes_four_times_in_a_second_at_most():
    calm = Calm()
    shown = [
        calm.marks((disc("held" if t_ms // 40 % 2 else "chip"),), t_ms * MS)[0].role
        for t_ms in range(0, 3000, 10)
    ]
    changes = [t for t in range(1, 300) if shown[t] != shown[t - 1]]
    assert len(changes) > 6
    assert all(b - a >= STANDS_NS / MS / 10 for a, b in itertools.pairwise(changes))


def test_it_shows_the_last_look_in_the_end():
    calm = Calm()
    for t_ms, role in ((0, "chip"), (300, "held"), (320, "chip")):
        calm.marks((disc(role),), t_ms * MS)
    assert calm.marks((disc("chip"),), 321 * MS)[0].role == "held"
    assert calm.marks((disc("chip"),), 560 * MS)[0].role == "chip"


def test_a_cue_is_shown_at_once_and_a_moving_disc_where_it_is():
    calm = Calm()
    for t_ms, role in ((0, "target"), (10, "held"), (20, "go")):
        assert calm.marks((disc(role),), t_ms * MS)[0].role == role
    kept = calm.marks((disc("held", x_mm=7.0),), 30 * MS)[0]
    assert (kept.role, kept.x_mm) == ("go", 7.0)


def test_a_disc_that_comes_and_goes_stays_for_a_moment():
    calm = Calm()
    assert calm.marks((LINE,), 0) == (LINE,)
    assert len(calm.marks((disc("target"), LINE), 10 * MS)) == 2
    assert len(calm.marks((LINE,), 50 * MS)) == 2
    assert calm.marks((LINE,), 10 * MS + STANDS_NS) == (LINE,)
    assert calm.marks((disc("target"), LINE), 20 * MS + STANDS_NS) == (LINE,)
    assert len(calm.marks((disc("target"), LINE), 10 * MS + 2 * STANDS_NS)) == 2
