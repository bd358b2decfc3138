"""Nobody looks better by doing less: leaving out, lifting, breaking off, hurrying, slowing."""

import functools
import math

import numpy as np
import pytest

from battery.recovery import relive
from battery.recovery.doing_less import MANNERS, PERSON, POINTER
from battery.recovery.finding import play
from battery.recovery.lazy import N_WHOLE, copies, verdicts
from battery.scoring import PRIMARY

EACH = [(task, manner) for task, own in MANNERS.items() for manner in own]


@functools.cache
def made(task, manner, n):
    return copies(task, manner, n, n_whole=min(n, N_WHOLE))


def holds(task, manner, n):
    found = made(task, manner, n)
    assert found.n_smaller == 0, (found.largest_gain, min(found.done))


@pytest.mark.parametrize(("task", "manner"), EACH)
def test_no_primary_gets_better_by_doing_less(task, manner):
    """A primary is lower the better; each copy against its own whole block."""
    assert PRIMARY[task].direction == "lower"
    holds(task, manner, 2)


@pytest.mark.long
@pytest.mark.parametrize(("task", "manner"), EACH)
@pytest.mark.timeout(7200)
def test_nor_do_two_thousand(task, manner):
    holds(task, manner, 2000)
    assert made(task, manner, 2000).n_missing < 2000


def test_no_composite_becomes_better_by_doing_less():
    """A task left out, and all manners together; one at a time in the page that is made."""
    found = [made(task, manner, 2) for task, manner in EACH]
    ways = [{task: ""} for task in MANNERS]
    ways += [{task: list(own)[which] for task, own in MANNERS.items()} for which in (0, -1)]
    for lazy_in in ways:
        assert verdicts(found, lazy_in, 6)[0] <= 1, lazy_in  # one by chance


@pytest.mark.parametrize(("task", "manner"), EACH)
def test_what_decides_alone_decides_a_copy(task, manner, monkeypatch):
    """The short way to a copy gives the record that all its contacts give."""

    def made():
        random = np.random.default_rng(3)
        return MANNERS[task][manner](whole, random)

    whole = play(task, PERSON, POINTER, 7)
    short = made()
    monkeypatch.setattr(relive, "_deciding", lambda block, samples: None)
    plain = made()
    assert short.events.tobytes() == plain.events.tobytes()
    assert short.samples.tobytes() == plain.samples.tobytes()
    assert short.ended_ns == plain.ended_ns
    assert short.ending == plain.ending


def test_a_copy_that_is_smaller_is_counted():
    """The counting itself: 3 mm below the whole is found, 0.5 mm is below the floor."""
    from battery.recovery.lazy import Copies

    found = Copies("pursuit", "", (7.0, 7.0, 7.0, 7.0), (4.0, 6.5, math.nan, 9.0))
    assert (found.n_smaller, found.n_missing) == (1, 1)
    assert found.largest_gain == pytest.approx(3 / 7)
    assert np.isclose(PRIMARY["pursuit"].min_compared, 1.0)
