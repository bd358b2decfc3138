"""What the hand did, at baseline and now, drawn on the same scale; and the spectra across."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from battery.recording import Hand
from battery.report import shapes
from battery.report.page_rows import Floats, Trace
from battery.report.shapes import COLOURS, DASHES, FAINT, GREY, INK, PT_PER_MM, Axis

WIDTH, HEIGHT = 45.0 * PT_PER_MM, 27.0 * PT_PER_MM
SPECTRUM_WIDTH, SPECTRUM_HEIGHT = 92.0 * PT_PER_MM, 30.0 * PT_PER_MM
FOOT = 11.0
MAX_MISS_MM = 35.0
ABOUT = {
    "tapping": "end points about the target",
    "slide": "path about the track, first four passes; drawn taller than it is",
    "pursuit": "finger (colour) and chip (grey) along the track over time",
    "trail": "path of the first trail",
}


def row_of_pictures(task: str, traces: Sequence[tuple[Hand, str, Trace]]) -> list[str]:
    """Draw pictures that are to be compared, all on one scale.

    Parameters
    ----------
    traces : sequence of (hand, when, trace)
        `when` is "baseline" or "latest".
    """
    only = [trace for _, _, trace in traces]
    drawn = []
    for hand, when, trace in traces:
        parts = DRAWN[task](trace, hand, only)
        frame = shapes.box((0.3, 0.3), WIDTH - 0.6, HEIGHT - 0.6, stroke="#b9c0c6")
        drawn.append(
            shapes.drawing(
                WIDTH,
                HEIGHT,
                [frame, *parts],
                name=f"{hand} hand, {when}, visit {trace.visit}: {ABOUT[task]}",
                about=f"block {trace.block_id}",
            )
        )
    return drawn


def _scale_bar(x: float, y: float, per_mm: float, words: str = "10 mm") -> list[str]:
    wide = 10 * per_mm
    return [
        shapes.rule((x, y), (x + wide, y), colour=INK, width=1.2),
        shapes.text(x + wide + 3, y + 3, words),
    ]


def _reach_mm(traces: Sequence[Trace]) -> float:
    """Half the height of what is shown about a target: all end points, within reason."""
    far = [float(np.abs(t.paths_mm[0]).max()) for t in traces if len(t.paths_mm[0])]
    least = 1.4 * max(t.target_r_mm for t in traces)
    return min(max([least, *far]), MAX_MISS_MM) * 1.06


def _end_points(trace: Trace, hand: Hand, reach_mm: float) -> list[str]:
    per_mm = (HEIGHT / 2 - 2) / reach_mm
    x0, y0 = WIDTH / 2, HEIGHT / 2
    parts = [
        f'<circle cx="{x0:.1f}" cy="{y0:.1f}" r="{trace.target_r_mm * per_mm:.1f}" '
        f'fill="none" stroke="{GREY}" stroke-width="0.8"/>',
        shapes.rule((x0 - 3, y0), (x0 + 3, y0), colour=GREY),
        shapes.rule((x0, y0 - 3), (x0, y0 + 3), colour=GREY),
    ]
    beyond = 0
    for x_mm, y_mm in trace.paths_mm[0].tolist():
        x, y = x0 + x_mm * per_mm, y0 - y_mm * per_mm
        if 2 <= x <= WIDTH - 2 and 2 <= y <= HEIGHT - 2:
            parts.append(shapes.marker((x, y), hand, style="solid", size=1.5))
        else:
            beyond += 1
            edge = (min(max(x, 3), WIDTH - 3), min(max(y, 3), HEIGHT - 3))
            parts.append(shapes.marker(edge, hand, style="hollow", size=1.7))
    if beyond:
        parts.append(
            shapes.text(WIDTH - 4, HEIGHT - 4, f"{beyond} beyond", anchor="end", colour=GREY)
        )
    return [*parts, *_scale_bar(4, HEIGHT - 6, per_mm)]


def _sway_mm(traces: Sequence[Trace]) -> float:
    """Half the height of what is shown about the track."""
    far = [float(np.abs(p[:, 1]).max()) for t in traces for p in t.paths_mm if len(p)]
    return min(max([3.0, *far]), 25.0) * 1.05


def _track(trace: Trace, hand: Hand, sway_mm: float) -> list[str]:
    far = [float(np.abs(p[:, 0]).max()) for p in trace.paths_mm if len(p)]
    along = Axis(-max([85.0, *far]), max([85.0, *far]), 2, WIDTH - 2)
    across = Axis(-sway_mm, sway_mm, HEIGHT - FOOT - 2, 2)
    parts = [shapes.rule((2, across.at(0)), (WIDTH - 2, across.at(0)), colour=GREY)]
    parts += [_path(p, hand, along, across) for p in trace.paths_mm]
    per_mm = along.at(1) - along.at(0)
    tall = across.at(0) - across.at(1)
    top = HEIGHT - FOOT - 3 - tall
    return [
        *parts,
        *_scale_bar(4, HEIGHT - 5, per_mm, "10 mm along"),
        shapes.rule((WIDTH - 5, top), (WIDTH - 5, top + tall), colour=INK, width=1.2),
        shapes.text(WIDTH - 4, HEIGHT - 2, "1 mm across", anchor="end"),
    ]


def _over_time(trace: Trace, hand: Hand) -> list[str]:
    if not len(trace.t_s):
        return [shapes.text(WIDTH / 2, HEIGHT / 2, "not followed", anchor="middle")]
    time = Axis(0, float(trace.t_s[-1]), 3, WIDTH - 3)
    far = [85.0, float(np.nanmax(np.abs([*trace.chip_mm, *trace.finger_mm])))]
    along = Axis(-max(far), max(far), HEIGHT - FOOT - 1, 2)
    chip = np.column_stack([trace.t_s, trace.chip_mm])
    finger = np.column_stack([trace.t_s, trace.finger_mm])
    parts = [
        shapes.polyline(
            [(time.at(t), along.at(x)) for t, x in chip.tolist()], colour="#9aa2a8", width=2.2
        )
    ]
    for piece in np.split(finger, np.flatnonzero(np.isnan(finger[:, 1]))):
        parts.append(_path(piece[~np.isnan(piece[:, 1])], hand, time, along, width=0.9))
    second = time.at(1) - time.at(0)
    return [
        *parts,
        shapes.rule((4, HEIGHT - 5), (4 + second, HEIGHT - 5), colour=INK, width=1.2),
        shapes.text(4 + second + 3, HEIGHT - 2, "1 s"),
    ]


def _trail(trace: Trace, hand: Hand) -> list[str]:
    all_mm = np.concatenate([trace.nodes_mm, *trace.paths_mm])
    half_mm = max(94.0, float(np.abs(all_mm[:, 0]).max()))
    half_up_mm = max(54.0, float(np.abs(all_mm[:, 1]).max()))
    per_mm = min((WIDTH / 2 - 1) / half_mm, (HEIGHT / 2 - 1) / half_up_mm)
    x = Axis(0, 1, WIDTH / 2, WIDTH / 2 + per_mm)
    y = Axis(0, 1, HEIGHT / 2, HEIGHT / 2 - per_mm)
    parts = [
        f'<circle cx="{x.at(a):.1f}" cy="{y.at(b):.1f}" r="{trace.target_r_mm * per_mm:.1f}" '
        f'fill="{"#e4e8eb" if number else "#b9c0c6"}" stroke="{GREY}" stroke-width="0.6"/>'
        for number, (a, b) in enumerate(trace.nodes_mm.tolist())
    ]
    parts += [_path(p, hand, x, y) for p in trace.paths_mm]
    return [*parts, *_scale_bar(4, HEIGHT - 6, per_mm)]


def _path(path: Floats, hand: Hand, x: Axis, y: Axis, width: float = 0.7) -> str:
    points = [(x.within(a) if x.low else x.at(a), y.at(b)) for a, b in path.tolist()]
    return shapes.polyline(points, colour=COLOURS[hand], width=width)


def spectra(hand: Hand, title: str, baseline: Trace | None, latest: Trace | None) -> str:
    """Draw the amplitude spectra across the path: baseline in grey, latest in colour.

    Returns
    -------
    str
        Empty when there is none to draw.
    """
    shown = [t for t in (baseline, latest) if t is not None and len(t.spectrum_hz)]
    if not shown:
        return ""
    f_hz = Axis(0, 15, 26, SPECTRUM_WIDTH - 4)
    tallest = max(float(t.spectrum_mm[t.spectrum_hz >= 1].max()) for t in shown)
    size = Axis(0, tallest * 1.08, SPECTRUM_HEIGHT - 20, 4)
    parts = [
        shapes.box(
            (f_hz.at(2), 4), f_hz.at(14) - f_hz.at(2), size.start - 4, fill="#eef1f3",
            title="2-14 Hz, the band of the jitter measure",
        )
    ]  # fmt: skip
    for tick in shapes.ticks(0, size.high, 3):
        parts.append(shapes.rule((26, size.at(tick)), (f_hz.end, size.at(tick)), colour=FAINT))
        parts.append(shapes.text(23, size.at(tick) + 3, f"{tick:g}", anchor="end"))
    parts.append(shapes.rule((26, size.start), (f_hz.end, size.start), colour=GREY, width=0.8))
    for tick in (0, 3, 6, 9, 12, 15):
        at = min(f_hz.at(tick), f_hz.end - 4)
        parts.append(shapes.text(at, size.start + 9.5, f"{tick:g}", anchor="middle"))
    middle = (f_hz.start + f_hz.end) / 2
    parts.append(
        shapes.text(
            middle, SPECTRUM_HEIGHT - 1.5, "frequency, Hz", anchor="middle", colour=GREY
        )
    )
    for trace in shown:
        now = trace is latest
        keep = trace.spectrum_hz >= 1  # below it is the path itself, not its jitter
        points = [
            (f_hz.at(f), size.within(a))
            for f, a in zip(
                trace.spectrum_hz[keep].tolist(), trace.spectrum_mm[keep].tolist(), strict=True
            )
        ]
        colour, dash = (COLOURS[hand], DASHES[hand]) if now else ("#8a9298", "")
        parts.append(
            shapes.polyline(points, colour=colour, width=1.3 if now else 2.0, dash=dash)
        )
    parts += _legend(hand, shown, latest)
    peaks = "; ".join(_peak(t, "latest" if t is latest else "baseline") for t in shown)
    return shapes.drawing(
        SPECTRUM_WIDTH,
        SPECTRUM_HEIGHT,
        parts,
        name=f"{hand} hand, {title}: amplitude across the path by frequency",
        about=peaks,
    )


def _legend(hand: Hand, shown: Sequence[Trace], latest: Trace | None) -> list[str]:
    parts = []
    for row, trace in enumerate(shown):
        now = trace is latest
        colour, dash = (COLOURS[hand], DASHES[hand]) if now else ("#8a9298", "")
        y = 12 + 11 * row
        x = SPECTRUM_WIDTH - 88
        parts.append(
            shapes.polyline(
                [(x, y - 3), (x + 16, y - 3)], colour=colour, width=1.3 if now else 2, dash=dash
            )
        )
        words = f"{'latest' if now else 'baseline'}, visit {trace.visit}"
        parts.append(shapes.text(x + 19, y, words))
    return parts


def _peak(trace: Trace, when: str) -> str:
    band = (trace.spectrum_hz >= 3) & (trace.spectrum_hz <= 12)
    at = trace.spectrum_hz[band][int(np.argmax(trace.spectrum_mm[band]))]
    return f"{when}, visit {trace.visit}: largest between 3 and 12 Hz at {at:.1f} Hz"


def peak_hz(trace: Trace | None) -> float:
    """Frequency of the largest amplitude between 3 and 12 Hz; nan without a spectrum."""
    if trace is None or not len(trace.spectrum_hz):
        return math.nan
    band = (trace.spectrum_hz >= 3) & (trace.spectrum_hz <= 12)
    return float(trace.spectrum_hz[band][int(np.argmax(trace.spectrum_mm[band]))])


# How a task's trace is drawn, beside the traces that it is to be compared with.
DRAWN: dict[str, Callable[[Trace, Hand, Sequence[Trace]], list[str]]] = {
    "tapping": lambda trace, hand, beside: _end_points(trace, hand, _reach_mm(beside)),
    "slide": lambda trace, hand, beside: _track(trace, hand, _sway_mm(beside)),
    "pursuit": lambda trace, hand, _: _over_time(trace, hand),
    "trail": lambda trace, hand, _: _trail(trace, hand),
}
