"""Scores of a pursuit block."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from battery.recording import Block
from battery.scoring import quality
from battery.scoring.definitions.pursuit import N_FREQUENCIES
from battery.scoring.jitter.band import MIN_TOTAL_S
from battery.scoring.jitter.device_floor import Device
from battery.scoring.jitter.jitter_scores import SETTLING_S, Drag, jitter_scores, settled
from battery.scoring.pursuit import tracking
from battery.scoring.pursuit.chip import DUE_PATH
from battery.scoring.pursuit.parts import BEFORE, Part, parts
from battery.scoring.pursuit.tracking import Response
from battery.scoring.score import Score, missing
from battery.scoring.signal.filters import in_band, slow_speed_mm_s, velocity, willed
from battery.scoring.signal.kinematics import runs
from battery.scoring.signal.path import GRID_HZ, Flags, Floats
from battery.scoring.signal.spectrum import MIN_SEGMENT_S
from battery.scoring.stats import summary
from battery.scoring.stats.dependent_windows import of_deleted, of_dependent_mean, of_ratio
from battery.scoring.stats.intervals import of_all_alike, of_difference, of_root, on_logit_scale
from battery.scoring.stats.resampling import Bootstrap, ratio, root_ratio

MIN_CONTACT_S = 4.0
MIN_SHARE = 0.5  # of a part in contact, for a fit of its frequencies
MAX_OFF = 0.05
MIN_PIECE_S = 0.5
SLOW_HZ = 3.0
WINDOW = round(4.0 * GRID_HZ)
LITTLE = "under half of the part in contact, or no such part"
NOT_FOLLOWED = "gain below 0.2: the finger did not follow"
NOT_STEADILY = "the finger moved without regard to the chip: no delay can be told"

Fits = Mapping[str, tuple[Part, Response, list[Response]]]  # whole, and with pieces left out


def score(block: Block, draw: Bootstrap, pixel_mm: float) -> list[Score]:
    """Score a finished pursuit block."""
    del draw
    found = parts(block)
    enough = {p.name: p for p in found if p.contact_s >= MIN_CONTACT_S}
    fits = {
        name: (p, p.sines.solve(), p.sines.deleted())
        for name, p in enough.items()
        if p.on.mean() >= MIN_SHARE
    }
    radius_mm = float(block.header.settings["chip_r_mm"])
    against_chip = [
        *_errors(found, radius_mm),
        *_following(fits),
        *_differences(found, fits),
        *_by_frequency(fits),
    ]
    if len(block.frames) < 2:
        against_chip = [
            s if s.reason else Score(s.measure, s.value, s.n, s.low, s.high, DUE_PATH)
            for s in against_chip
        ]
    return [
        *against_chip,
        *_contact(block, found),
        *_jitter(found, fits, pixel_mm),
        *_quality(block, found),
    ]


def _windows(values: Sequence[Floats], usable: Sequence[Flags], size: int = WINDOW) -> Floats:
    """Sum over usable moments, and count them, in windows of 4 s, shape (n_windows, 2)."""
    rows = []
    for value, use in zip(values, usable, strict=True):
        starts = np.arange(0, max(len(value) - size // 2, 1), size)
        sums = np.add.reduceat(np.where(use, value, 0.0), starts)
        rows.append(np.column_stack([sums, np.add.reduceat(use.astype(float), starts)]))
    found = np.concatenate(rows) if rows else np.empty((0, 2))
    return np.asarray(found[found[:, 1] > 0])


def _share_of_windows(name: str, windows: Floats) -> Score:
    value, n = float(ratio(windows[None])[0]), len(windows)
    if value in (0.0, 1.0):
        return Score(name, value, n, *of_all_alike(value, n))
    return Score(name, value, n, *on_logit_scale(value, of_ratio(windows)))


def _root_of_windows(name: str, windows: Floats) -> Score:
    return Score(name, float(root_ratio(windows[None])[0]), len(windows))


def _quality(block: Block, found: Sequence[Part]) -> list[Score]:
    hard = [part for part in found if part.name == "unpredictable"]
    windows = _windows([p.squares_mm2 for p in hard], [p.judged for p in hard], WINDOW // 2)
    spans = [
        (begin_s, begin_s + WINDOW / GRID_HZ)
        for part in found
        for begin_s in np.arange(part.start_s, part.end_s - 1e-9, WINDOW / GRID_HZ).tolist()
    ]
    errors_mm = np.sqrt(windows[:, 0] / windows[:, 1])
    return quality.scores(block, errors_mm, spans, "windows")


# Distance of finger and chip


def _error(name: str, found: Sequence[Part]) -> Score:
    """Score the error, with how far chance in the finger may have moved it on this path.

    What the steady part of the following gives differs from moment to moment because the path
    does; that is no chance, and is taken off before the windows are compared.
    """
    windows = [_windows([p.squares_mm2], [p.judged], WINDOW // 2) for p in found]
    total = sum(float(rows[:, 1].sum()) for rows in windows)
    mean_square = sum(float(rows[:, 0].sum()) for rows in windows) / total
    half = 0.0
    for part, rows in zip(found, windows, strict=True):
        excess = part.squares_mm2 - part.expected_mm2
        above = _windows([excess], [part.judged], WINDOW // 2)[:, 0]
        if len(rows):
            off = above - rows[:, 1] * above.sum() / rows[:, 1].sum()
            error, reach = of_dependent_mean(off)
            half = math.hypot(half, reach * error * len(rows) / total)
    n = sum(len(rows) for rows in windows)
    return Score(name, math.sqrt(mean_square), n, *of_root(mean_square, half))


def _errors(found: Sequence[Part], radius_mm: float) -> list[Score]:
    """Errors over all that was asked; missing only where the reports are."""
    scores = []
    for name, own in (
        ("pursuit.tracking_rmse_mm", found),
        *(
            (f"pursuit.rmse_{part}_mm", [p for p in found if p.name == part])
            for part in ("predictable", "unpredictable")
        ),
    ):
        reason = _not_judged(own)
        scores.append(missing(name, reason) if reason else _error(name, own))
    name = "pursuit.time_on_target"
    reason = _not_judged(found)
    if reason:
        return [*scores, missing(name, reason)]
    inside = [(p.on & (p.squares_mm2 <= radius_mm**2)).astype(float) for p in found]
    windows = _windows(inside, [p.judged for p in found])
    return [*scores, Score(name, float(ratio(windows[None])[0]), len(windows))]


def _not_judged(found: Sequence[Part]) -> str:
    """Say why there is no error; empty where there is one."""
    if not found:
        return "no such part, or the chip was never pressed"
    share = float(np.concatenate([p.judged for p in found]).mean())
    if share < MIN_SHARE:
        return f"reports are missing for {100 * (1 - share):.0f} % of the time; at most 50 %"
    return ""


# Finger as a function of the chip


def _main(fits: Fits) -> tuple[Part, Response, list[Response]] | None:
    """Return the part that speaks for the block: the unpredictable one where there is one."""
    return fits.get("unpredictable") or fits.get("predictable")


def _deleted(
    name: str,
    whole: Response,
    left: Sequence[Response],
    of: Callable[[Response], float],
    n: int,
) -> Score:
    value = of(whole)
    return Score(name, value, n, *of_deleted(value, np.array([of(r) for r in left])))


def _delay(name: str, fit: tuple[Part, Response, list[Response]] | None) -> Score:
    if fit is None:
        return missing(name, LITTLE)
    _, whole, left = fit
    n = int(np.count_nonzero(~np.isnan(whole.phase_rad)))
    reason = _not_followed(whole, left)
    if reason:
        return missing(name, reason, len(whole.gain))
    found = _deleted(name, whole, left, lambda r: r.delay_s, n)
    if found.high - found.low > 2 * tracking.MAX_HALF_S:
        reason = f"known only to lie between {found.low:.2f} and {found.high:.2f} s"
        return missing(name, reason, n)
    return found


def _not_followed(whole: Response, left: Sequence[Response]) -> str:
    """Say why phases and delays have no meaning; empty where they have one."""
    if np.all(np.isnan(whole.phase_rad)):
        return NOT_FOLLOWED
    if not tracking.following(whole, left) >= tracking.MIN_FOLLOWING:
        return NOT_STEADILY
    return ""


def _gain(name: str, fit: tuple[Part, Response, list[Response]] | None) -> Score:
    if fit is None:
        return missing(name, LITTLE)
    _, whole, left = fit
    return _deleted(name, whole, left, lambda r: r.overall_gain, len(whole.gain))


def _following(fits: Fits) -> list[Score]:
    fit = _main(fits)
    scores = [
        _delay("pursuit.delay_s", fit),
        _gain("pursuit.gain", fit),
        _delay("pursuit.delay_predictable_s", fits.get("predictable")),
        _gain("pursuit.gain_predictable", fits.get("predictable")),
        _coherence(fits.get("unpredictable")),
    ]
    names = (
        "pursuit.velocity_gain",
        "pursuit.delay_by_correlation_s",
        "pursuit.catch_up_per_s",
        "pursuit.remnant_mm",
        "pursuit.remnant_slow_mm",
    )
    if fit is None:
        return [*scores, *(missing(name, LITTLE) for name in names)]
    part, whole, left = fit
    unrelated = _not_followed(whole, left)
    lag_s, lags_s = tracking.lag_of_best_correlation_s(
        part.finger_mm[:, 0], part.on, part.wide_chip_mm
    )
    n = len(lags_s)
    return [
        *scores,
        missing(names[0], unrelated)
        if unrelated
        else _velocity_gain(names[0], part, whole.delay_s),
        missing(names[1], unrelated or "no peak of the correlation from -0.3 to 1 s", n)
        if unrelated or math.isnan(lag_s)
        else Score(names[1], lag_s, n, *of_deleted(lag_s, lags_s)),
        _catch_up(names[2], list(fits.values())),
        *_remnant(names[3], names[4], part),
    ]


def _finger_velocity_mm_s(part: Part) -> Floats:
    """Velocity along the path on the part's grid; nan out of contact and in short pieces."""
    found = np.full(len(part.t_s), np.nan)
    for begin, end in runs(part.on, round(MIN_PIECE_S * GRID_HZ)).tolist():
        found[begin:end] = velocity(part.finger_mm[begin:end, 0])
    return found


def _velocity_gain(name: str, part: Part, delay_s: float) -> Score:
    finger = _finger_velocity_mm_s(part)
    wide_s = part.start_s + (np.arange(len(part.wide_chip_mm)) - BEFORE) / GRID_HZ
    chip = velocity(np.interp(part.t_s - delay_s, wide_s, part.wide_chip_mm))
    usable = ~np.isnan(finger)
    slope = tracking.velocity_gain(finger, chip, usable)
    products = _windows([np.where(usable, finger * chip, 0.0)], [usable])
    squares = _windows([chip**2], [usable])
    rows = np.column_stack([products[:, 0], squares[:, 0]])
    return Score(name, slope, len(rows), *of_ratio(rows))


def _catch_up(name: str, fits: Sequence[tuple[Part, Response, list[Response]]]) -> Score:
    count, seconds = 0, 0.0
    for part, _, _ in fits:
        relative = _finger_velocity_mm_s(part) - velocity(part.chip_mm[:, 0])
        for begin, end in runs(~np.isnan(relative), 1).tolist():
            count += tracking.n_catch_ups(relative[begin:end])
            seconds += (end - begin) / GRID_HZ
    return Score(name, count / seconds, count)


def _remnant(whole_name: str, slow_name: str, part: Part) -> list[Score]:
    left_mm = part.sines.remnant_mm()
    windows = _windows([np.nan_to_num(left_mm) ** 2], [part.on])
    scores = [_root_of_windows(whole_name, windows)]
    slow = np.full(len(left_mm), np.nan)
    for begin, end in runs(part.on, round(MIN_SEGMENT_S * GRID_HZ)).tolist():
        slow[begin:end] = in_band(left_mm[begin:end], (0.0, SLOW_HZ))
    usable = ~np.isnan(slow)
    if usable.sum() < MIN_TOTAL_S * GRID_HZ:
        return [*scores, missing(slow_name, "under 4 s of contact in pieces of 2 s and more")]
    windows = _windows([np.nan_to_num(slow) ** 2], [usable])
    return [*scores, _root_of_windows(slow_name, windows)]


def _coherence(fit: tuple[Part, Response, list[Response]] | None) -> Score:
    name = "pursuit.coherence"
    if fit is None:
        return missing(name, LITTLE)
    part, whole, _ = fit
    off = 1 - part.on.mean()
    if off > MAX_OFF:
        return missing(name, f"{100 * off:.0f} % without contact; at most 5 %")
    steps = np.arange(len(part.t_s))
    finger = np.interp(steps, steps[part.on], part.finger_mm[part.on, 0])
    value, n = tracking.coherence_at(finger, part.chip_mm[:, 0], whole)
    if math.isnan(value):
        return missing(name, f"{n} segments of 8 s; at least 9 are needed", n)
    return Score(name, value, n)


# Predictable against unpredictable


def _differences(found: Sequence[Part], fits: Fits) -> list[Score]:
    names = ("pursuit.rmse_difference_mm", "pursuit.delay_difference_s")
    both = ("unpredictable", "predictable")
    parts_of = {part.name: part for part in found if not _not_judged([part])}
    if not all(name in parts_of for name in both):
        return [missing(name, "needs both parts") for name in names]
    hard, easy = (_error("", [parts_of[name]]) for name in both)
    interval = of_difference(
        (hard.value, (hard.low, hard.high)), (easy.value, (easy.low, easy.high))
    )
    scores = [Score(names[0], hard.value - easy.value, hard.n + easy.n, *interval)]
    late, early = (_delay(names[1], fits.get(name)) for name in both)
    if math.isnan(late.value) or math.isnan(early.value):
        return [*scores, missing(names[1], late.reason or early.reason)]
    return [*scores, Score(names[1], late.value - early.value, late.n + early.n)]


def _by_frequency(fits: Fits) -> list[Score]:
    fit = fits.get("unpredictable")
    scores = [
        one
        for k in range(N_FREQUENCIES)
        for one in _at_frequency(f"pursuit.gain_{k + 1}", f"pursuit.phase_{k + 1}_deg", fit, k)
    ]
    phase = "pursuit.phase_predictable_deg"
    easy = fits.get("predictable")
    return [*scores, *_at_frequency("", phase, easy, 0)[1:]]


def _at_frequency(
    gain_name: str, phase_name: str, fit: tuple[Part, Response, list[Response]] | None, k: int
) -> list[Score]:
    if fit is None or k >= len(fit[1].gain):
        return [missing(gain_name, LITTLE), missing(phase_name, LITTLE)]
    _, whole, left = fit
    gain = _deleted(gain_name, whole, left, lambda r: float(r.gain[k]), 1)
    reason = _not_followed(whole, left)
    if reason or math.isnan(whole.phase_rad[k]):
        return [gain, missing(phase_name, reason or NOT_FOLLOWED, 1)]
    return [
        gain,
        _deleted(phase_name, whole, left, lambda r: math.degrees(r.phase_rad[k]), 1),
    ]


# Contact and jitter


def _contact(block: Block, found: Sequence[Part]) -> list[Score]:
    names = ("pursuit.contact_loss", "pursuit.lifts_per_min")
    if not found:
        return [missing(name, "the chip was never pressed") for name in names]
    off = [(~p.touching).astype(float) for p in found]
    windows = _windows(off, [np.ones(len(p.t_s), dtype=bool) for p in found])
    lost = int(((block.events["kind"] == "lost") & (block.events["trial"] >= 0)).sum())
    minutes = sum(p.end_s - p.start_s for p in found) / 60
    return [
        _share_of_windows(names[0], windows),
        summary.rate_of(names[1], lost, minutes, n=len(found)),
    ]


def _jitter(found: Sequence[Part], fits: Fits, pixel_mm: float) -> list[Score]:
    device = Device.of([s for p in found for s in p.pieces], pixel_mm)
    drags = [
        Drag(
            path_mm[:, 1],
            path_mm[:, 0],
            slow_speed_mm_s(willed(path_mm[:, 0])),
            settled(t_s, part.contacts_s),
        )
        for part in found
        for t_s, path_mm in part.even_pieces
    ]
    along = [piece for part, _, _ in fits.values() for piece in _remnant_pieces(part)]
    return jitter_scores("pursuit", drags, device, along=along)


def _remnant_pieces(part: Part) -> list[Floats]:
    """Cut what the chip does not explain into pieces without gaps and without settling."""
    left_mm = part.sines.remnant_mm()
    for begun_s in part.contacts_s:
        left_mm[(part.t_s >= begun_s) & (part.t_s < begun_s + SETTLING_S)] = np.nan
    usable = ~np.isnan(left_mm)
    return [left_mm[begin:end] for begin, end in runs(usable, 1).tolist()]
