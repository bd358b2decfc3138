"""Records made a second way, without `battery.simulate`: formulas, a clock, and the task.

A hold is a time on the glass with a path. A device scans it and tells of it in its own way; the
real task then decides what happened. Nothing here is closed loop: every time is written down
beforehand from the task's settings.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from battery.recording import (
    FRAME_DTYPE,
    KIND_CODES,
    SAMPLE_DTYPE,
    Block,
    TimingAudit,
)
from battery.recovery.finding import standard_header
from battery.recovery.relive import relive
from battery.runner import audit_of

FRAME_S = 1 / 60


@dataclass(frozen=True)
class Panel:
    """A device: scans a second, pixel, and what goes wrong between scan and stamp."""

    rate_hz: float = 120.0
    pixel_mm: float = 0.1
    irregular: float = 0.0  # scans off their even moments by up to this share of an interval
    burst: int = 1  # reports told together, stamped when they are told
    thinned: float = 0.0  # share of reports of motion that never come


@dataclass(frozen=True)
class Shake:
    """A tremor on both axes; `wax_hz` lets it swell and fade, `broad_hz` makes a band."""

    hz: float = 5.0
    mm: float = 0.8
    wax_hz: float = 0.0
    broad_hz: float = 0.0

    def make(self, random, seconds=80.0):
        """A function of time, shape (n, 2), whose root mean square is mm / sqrt(2) an axis."""
        phases = random.uniform(0, 2 * np.pi, 2)
        if self.broad_hz:
            n = 400
            hz = random.normal(self.hz, self.broad_hz, (n, 2))
            turns = random.uniform(0, 2 * np.pi, (n, 2))

            def broad(t):
                waves = np.sin(2 * np.pi * t[:, None, None] * hz + turns)
                return self.mm * np.sqrt(1 / n) * waves.sum(axis=1)

            return broad
        if not self.wax_hz:
            return lambda t: self.mm * np.sin(2 * np.pi * self.hz * t[:, None] + phases)
        # It swells and fades by half, by chance, at about `wax_hz`, alike on both axes.
        swells_hz = self.wax_hz * np.abs(random.normal(size=40))
        turns = random.uniform(0, 2 * np.pi, 40)

        def line(t):
            swell = np.sin(2 * np.pi * t[:, None] * swells_hz + turns).sum(axis=1) / np.sqrt(20)
            grown = (1 + 0.5 * swell)[:, None] / np.sqrt(1 + 0.5**2)
            return self.mm * grown * np.sin(2 * np.pi * self.hz * t[:, None] + phases)

        return line


def drift(random, mm=0.3):
    """Slow wandering below 1.5 Hz: many sines, so that it is by chance."""
    n = 60
    hz = 0.02 + random.exponential(0.3, (n, 2)) % 1.48
    turns = random.uniform(0, 2 * np.pi, (n, 2))
    return lambda t: (
        mm * np.sqrt(2 / n) * np.sin(2 * np.pi * t[:, None, None] * hz + turns).sum(axis=1)
    )


def quintic(u):
    u = np.clip(u, 0, 1)
    return u * u * u * (10 + u * (6 * u - 15))


def rows_of(holds, panel, random):
    """Samples of all holds: (down_s, up_s, path) with path a function of times."""
    rows = []
    for down_s, up_s, path in holds:
        first, last = np.ceil(down_s * panel.rate_hz), np.floor(up_s * panel.rate_hz)
        k = np.arange(first, max(last, first + 1) + 1)
        at_s = (k + panel.irregular * random.uniform(-0.5, 0.5, len(k))) / panel.rate_hz
        at_s[1:] = np.maximum(at_s[1:], at_s[:-1] + 2e-4)
        kept = random.random(len(k)) >= panel.thinned
        kept[[0, -1]] = True
        at_s = at_s[kept]
        place = path(at_s)
        if panel.pixel_mm:
            place = np.round(place / panel.pixel_mm) * panel.pixel_mm
        told_s, gap_s = at_s.copy(), np.full(len(at_s), 2e-4)
        if panel.burst > 1:
            group = (
                np.arange(len(at_s)) + panel.burst - 1
            ) // panel.burst  # a press comes alone
            last_of = np.searchsorted(group, group, side="right") - 1
            inside = np.arange(len(at_s)) - np.searchsorted(group, group, side="left")
            told_s = at_s[last_of] + 2e-5 * inside
            gap_s = np.where(inside == 0, told_s - at_s, 2e-5)
        block = np.zeros(len(at_s), dtype=SAMPLE_DTYPE)
        block["t_ns"] = np.round(told_s * 1e9)
        block["kind"] = KIND_CODES["move"]
        block["kind"][0], block["kind"][-1] = KIND_CODES["down"], KIND_CODES["up"]
        block["pointer"] = 1
        block["x_mm"], block["y_mm"] = place.T
        block["pressure"] = np.nan
        block["stamp_gap_ns"] = np.round(gap_s * 1e9)
        rows.append(block)
    return np.concatenate(rows)


def header_of(task, seed, **changes):
    """Under identifiers of their own, so that no record of the simulation has them."""
    return replace(
        standard_header(task, seed, **changes),
        block_id=f"00000000-0000-4000-9000-{seed:012d}",
        visit_id="00000000-0000-4000-9000-000000000000",
    )


def record(header, samples, seconds=240.0):
    """Put samples through the task; the picture is on the screen 1 ms after it is drawn."""
    drawn = np.round(np.arange(0, seconds, FRAME_S) * 1e9).astype(np.int64)
    frames = np.zeros(len(drawn), dtype=FRAME_DTYPE)
    frames["drawn_ns"], frames["flip_ns"] = drawn, drawn + 1_000_000
    bare = Block(
        header=header, samples=samples, frames=frames, events=np.zeros(0, dtype=[]),
        ending="finished", ended_ns=0, audit=TimingAudit(),
    )  # fmt: skip
    block = relive(bare, samples)
    kept = block.frames[block.frames["flip_ns"] <= block.ended_ns]
    return replace(block, frames=kept, audit=audit_of(block.samples, kept, TimingAudit()))


def slide(
    seed, *, panel=Panel(), shake=Shake(), way_s=2.0, out_mm=60.0, rest_s=0.1, wander_mm=0.0,
    spread=0.0,
):  # fmt: skip
    """Touch the fixed target, take the chip out and back at a pace, and so on.

    `spread` is the standard deviation of the logarithms of each pass's pace and way.
    """
    random = np.random.default_rng(seed)
    header = header_of("slide", seed)
    s = header.settings
    move, wander = shake.make(random), drift(random, wander_mm)
    holds, now, trial = [], 0.6, 0
    sign = {"left": -1.0, "right": 1.0}[s["first_side"]]
    paces = np.atleast_1d(way_s)
    while now < s["duration_s"] - 0.5:
        fixed = np.array([s["fixed_x_mm"], s["fixed_y_mm"]])
        holds.append(
            (now, now + 0.1, lambda t, fixed=fixed: np.broadcast_to(fixed, (len(t), 2)))
        )
        now += 0.5
        begun = now
        side = sign * (-1) ** trial
        pace = float(paces[trial % len(paces)]) * np.exp(spread * random.normal())
        far_mm = out_mm * np.exp(spread * random.normal())

        def path(t, begun=begun, side=side, pace=pace, far_mm=far_mm):
            u = t - begun - rest_s
            out = quintic(u / pace) - quintic((u - pace - rest_s) / pace)
            x = s["chip_x_mm"] + side * far_mm * out
            steady = np.column_stack([x, np.full(len(t), s["chip_y_mm"])])
            taken = np.clip((t - begun) / 0.15, 0, 1)[:, None]  # whoever shakes much aims first
            return steady + taken * (move(t) + wander(t))

        now += 2 * pace + 3 * rest_s
        holds.append((begun, now, path))
        now += 0.4
        trial += 1
    return record(header, rows_of(holds, panel, random), s["duration_s"])


def chip_mm(settings, t):
    """Where the chip is along its path, mm, s after the press; and how long it moves."""
    x = np.zeros(len(t))
    start = 0.0
    for part in settings["parts"]:
        whole = part["lead_s"] + part["duration_s"] + part["tail_s"]
        left = t - start
        swing = sum(
            a * np.sin(2 * np.pi * f * (left - part["lead_s"]) + p)
            for a, f, p in part["components"]
        )
        up = np.clip(left / max(part["lead_s"], 1e-9), 0, 1)
        down = np.clip((whole - left) / max(part["tail_s"], 1e-9), 0, 1)
        grown = np.minimum(up * up * (3 - 2 * up), down * down * (3 - 2 * down))
        inside = (left >= 0) & (left < whole)
        x += np.where(inside, settings["direction"] * swing * grown, 0.0)
        start += whole
    return x, start


def pursuit_errors_mm(block, delay_s, gain, own_mm2):
    """Error that such a person is expected to have on this very path, root mean square.

    `own_mm2` is the mean square of what the person adds, both axes together. No moment counts
    for more than the mean of a finger that rests.
    """
    settings = block.header.settings
    squares, found, start = [], {}, 0.0
    for part in settings["parts"]:
        begin = start + part["lead_s"]
        t = begin + np.arange(0, part["duration_s"], 1 / 240)
        chip, late = chip_mm(settings, t)[0], chip_mm(settings, t - delay_s)[0]
        squares.append(np.minimum((gain * late - chip) ** 2 + own_mm2, np.mean(chip**2)))
        found[part["name"]] = float(np.sqrt(squares[-1].mean()))
        start = begin + part["duration_s"] + part["tail_s"]
    return found | {"whole": float(np.sqrt(np.concatenate(squares).mean()))}


def pursuit(
    seed, *, panel=Panel(), shake=Shake(), delay_s=0.2, gain=0.9, wander_mm=0.0, off=(),
):  # fmt: skip
    """Press the chip and follow it; `off` lists times off the glass, s after the press."""
    random = np.random.default_rng(seed)
    header = header_of("pursuit", seed)
    s = header.settings
    move, wander = shake.make(random), drift(random, wander_mm)
    begun = 1.0

    def chip(t):
        return chip_mm(s, t)

    _, whole = chip(np.zeros(1))

    def path(t):
        since = t - begun - delay_s - 0.001
        steady = np.column_stack([gain * chip(since)[0], np.full(len(t), s["y_mm"])])
        fade = np.clip((t - begun) / 0.5, 0, 1)[:, None]
        return steady + fade * (move(t) + wander(t))

    edges = [begun]
    for off_s, for_s in off:
        edges += [begun + off_s, begun + off_s + for_s]
    edges.append(begun + whole + 0.5)
    holds = [(a, b, path) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return record(header, rows_of(holds, panel, random), whole + 3)


def _unlike(random, spread):
    """A factor about 1: within a tenth, or lognormal."""
    return random.uniform(0.9, 1.1) if spread is None else np.exp(spread * random.normal())


def tapping(
    seed, *, panel=Panel(), error_mm=3.0, reaction_s=0.4, movement_s=0.6, unanswered=(),
    settings=None, scatter=None, spread=None, extra_per_min=0.0,
):  # fmt: skip
    """Hold home, wait for go, reach: every press and lift at a time written down.

    `scatter` is (beyond, aside, standard deviation along, across) of normal end points, mm;
    `spread` the standard deviation of the logarithms of both times.
    """
    random = np.random.default_rng(seed)
    header = header_of("tapping", seed, **(settings or {}))
    s = header.settings
    home = np.array([s["home_x_mm"], s["home_y_mm"]])
    holds, now, trial = [], 0.5, 0
    limit = s.get("limit_s") or s["duration_s"]
    while now < max(limit, s["duration_s"]) and trial < len(s["targets_mm"]):
        random = np.random.default_rng((seed, trial))  # a trial is the same whatever the others
        go = now + s["foreperiods_s"][trial]
        lift = go + reaction_s * _unlike(random, spread)
        if trial in unanswered:
            lift = go + s["answer_limit_s"] + 0.3
        holds.append((now, lift, lambda t: np.broadcast_to(home, (len(t), 2))))
        if trial not in unanswered:
            touch = lift + movement_s * _unlike(random, spread)
            angle, off = _end(random, error_mm)
            target = np.array(s["targets_mm"][trial])
            end = target + off * np.array([np.cos(angle), np.sin(angle)])
            if scatter is not None:
                along = (target - home) / np.hypot(*(target - home))
                far, aside = random.normal(scatter[:2], scatter[2:])
                end = target + far * along + aside * np.array([-along[1], along[0]])
            holds.append(
                (touch, touch + 0.1, lambda t, end=end: np.broadcast_to(end, (len(t), 2)))
            )
            now = touch + 0.7
        else:
            now = lift + 0.5
        trial += 1
    return record(header, rows_of(holds, panel, random), now + 1)


def _end(random, error_mm):
    """Direction and distance of an end point from its target, even in all directions."""
    return random.uniform(0, 2 * np.pi), random.rayleigh(error_mm / np.sqrt(np.pi / 2))


def end_errors_mm(seed, n_trials, error_mm):
    """How far the end points of `tapping` lie from their targets, trial by trial."""
    errors_mm = []
    for trial in range(n_trials):
        random = np.random.default_rng((seed, trial))
        _unlike(random, None), _unlike(random, None)  # the two times are drawn first
        errors_mm.append(_end(random, error_mm)[1])
    return errors_mm


def trail(
    seed, *, panel=Panel(), shake=Shake(mm=0.3), search_s=1.0, speed_mm_s=60.0, start_s=0.5,
    spread=0.0,
):  # fmt: skip
    """Search, then drag straight to the next node, and stay until it is captured.

    `spread` is the standard deviation of the logarithms of all times, start, search and way.
    """
    random = np.random.default_rng(seed)
    header = header_of("trail", seed)
    move = shake.make(random, 200)
    holds, now = [], 0.5
    for form in header.settings["forms"]:
        nodes = [np.array(node) for node in form["nodes_mm"]]
        now += start_s * np.exp(spread * random.normal())
        times, places, begun = [now], [nodes[0]], now
        for a, b in itertools.pairwise(nodes):
            search = random.uniform(0.8, 1.2) * np.exp(spread * random.normal())
            times += [times[-1] + search_s * search]
            places += [a]
            way_s = np.hypot(*(b - a)) / speed_mm_s
            times += [times[-1] + way_s * np.exp(0.5 * spread * random.normal())]
            places += [b]
            times += [times[-1] + 0.3]
            places += [b]

        def path(t, times=times, places=places):
            return np.column_stack(
                [np.interp(t, times, [p[axis] for p in places]) for axis in (0, 1)]
            ) + move(t)

        now = times[-1] + 0.1
        holds.append((begun, now, path))
    return record(header, rows_of(holds, panel, random), now + 1)
