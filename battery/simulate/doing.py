"""What a simulated participant does in each task: look, wait, reach, hold, drag."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from battery.simulate.hand import FLIP_S, FRAME_NS, Hand
from battery.simulate.motion import Floats
from tasks import pursuit as pursuit_task
from tasks.contract import NS_PER_S, Disc, Line
from tasks.pursuit import PursuitSettings

ANSWER_S = 0.5  # a person who sees no answer to a press within this tries again
DWELL_S = 0.08  # how long a tap stays on the glass
PAUSE_S = 0.1
TURN_S = 0.2
HALT_S = 0.4
EXTENT_SPREAD = 0.03
SETTLE_S = 0.4  # time constant with which a finger put down beside the chip comes onto it
GUESS_S = (0.3, 1.6)  # when a person who does not wait lets go
BEYOND_MM = 30.0  # how far past a wrong node one goes who only crosses it
TRIES = 20


def tap(hand: Hand) -> None:
    """Tap until the block is over."""
    while True:
        home, target = hand.disc("home"), hand.disc("go")
        if home is not None:
            _tap_from_home(hand, home)
        elif target is not None:
            hand.react(target.x_mm)
            _touch(hand, target)
            hand.stay(2 * hand.time_of_reach(target))  # to a place of one's own and back
        else:
            hand.stay(PAUSE_S)


def _tap_from_home(hand: Hand, home: Disc) -> None:
    """Hold home, wait for go, reach, touch."""
    hand.approach(home)
    hand.forget()
    hand.press()
    if hand.wait_for("cue", limit_s=ANSWER_S) is None:
        hand.lift()
        hand.stay(PAUSE_S)
        return
    if hand.chance(hand.truth.guess_rate):
        hand.stay(float(hand.random.uniform(*GUESS_S)))
        target = hand.disc("go", "target")
    else:
        hand.wait_for("go", limit_s=math.inf)
        target = hand.disc("go")
        if target is not None:
            hand.react(target.x_mm)
    hand.lift()
    if target is not None:
        _touch(hand, target)


def _touch(hand: Hand, target: Disc) -> None:
    hand.reach(target)
    hand.press()
    hand.stay(DWELL_S)
    hand.lift()
    hand.stay(PAUSE_S)


def slide(hand: Hand) -> None:
    """Do what is lit: touch the fixed target, or take the chip out and back."""
    while True:
        lit, track = hand.disc("go"), hand.track()
        if lit is None or track is None:
            hand.stay(PAUSE_S)
        elif math.isclose(lit.y_mm, track.points_mm[0][1]):
            _take_out(hand, lit, track)
        else:
            hand.react(lit.x_mm)
            hand.approach(lit)
            hand.forget()
            hand.press()
            hand.stay(DWELL_S)
            hand.lift()
            hand.wait_for("touch", limit_s=ANSWER_S)


def _take_out(hand: Hand, chip: Disc, track: Line) -> None:
    """Drag the chip out as far as is comfortable, and back."""
    truth = hand.truth
    hand.approach(chip)
    hand.forget()
    hand.press()
    if hand.wait_for("grab", "regained", limit_s=ANSWER_S) is not None:
        hand.stay(TURN_S)
        (start_mm, y_mm), (end_mm, _) = track.points_mm[0], track.points_mm[-1]
        side = math.copysign(1.0, end_mm - start_mm)
        grip_mm = hand.place_mm[0] - chip.x_mm
        far_mm = truth.slide_extent_mm * float(hand.random.normal(1, EXTENT_SPREAD))
        if _haul(hand, start_mm + side * far_mm + grip_mm, y_mm):
            hand.stay(TURN_S)
            if _haul(hand, start_mm + grip_mm, y_mm):
                hand.stay(TURN_S)
    hand.lift()
    hand.stay(PAUSE_S)


def _haul(hand: Hand, x_mm: float, y_mm: float) -> bool:
    """Drag to a place, halting on the way; False when contact was lost for good."""
    truth = hand.truth
    n = truth.slide_halts + 1
    begun_mm = hand.place_mm
    slower = hand.tired * truth.handicap(x_mm)
    for piece in range(1, n + 1):
        if piece > 1:
            hand.stay(HALT_S)
        x_here_mm = begun_mm[0] + (x_mm - begun_mm[0]) * piece / n
        y_here_mm = begun_mm[1] + (y_mm - begun_mm[1]) * piece / n
        if not _pull(hand, x_here_mm, y_here_mm, slower * truth.slide_s / n):
            return False
    return True


def _pull(hand: Hand, x_mm: float, y_mm: float, seconds: float) -> bool:
    """Drag to a place; False when contact was lost and not taken up again."""
    whole_mm = math.dist(hand.place_mm, (x_mm, y_mm))
    while not hand.drag(x_mm, y_mm, seconds):
        if hand.wait_for("regained", limit_s=ANSWER_S) is None:
            hand.lift()
            return False
        left_mm = math.dist(hand.place_mm, (x_mm, y_mm))
        seconds *= max(0.2, left_mm / max(whole_mm, 1e-9))
        whole_mm = left_mm
    return True


def follow(hand: Hand) -> None:
    """Press the chip and follow it, each part with its own delay and gain."""
    settings = hand.run.settings
    while True:
        chip = hand.disc("go")
        if chip is None:
            hand.stay(PAUSE_S)
            continue
        hand.react(chip.x_mm)
        hand.approach(chip)
        hand.forget()
        hand.press()
        begun = hand.wait_for("start", limit_s=ANSWER_S)
        if begun is not None:
            break
        hand.lift()
        hand.stay(PAUSE_S)
    beside_mm = np.array(hand.place_mm) - (chip.x_mm, chip.y_mm)
    on_chip = _following(hand, settings, begun.t_ns / NS_PER_S)
    placed_s = hand.t_s

    def path(t_s: Floats) -> Floats:
        fading = np.exp(-np.maximum(t_s - placed_s, 0) / SETTLE_S)[:, None]
        return np.asarray(on_chip(t_s) + fading * beside_mm)

    hand.follow(path)


def _following(
    hand: Hand, settings: PursuitSettings, start_s: float
) -> Callable[[Floats], Floats]:
    """Make the path of a finger that follows the chip as the frames show it.

    The chip is seen 60 times a second; between two frames it is taken to move evenly.
    """
    whole_s = pursuit_task.boundaries_s(settings)[-1]
    seen_s = np.arange(0, whole_s, FRAME_NS / NS_PER_S)
    chip_mm = np.array([pursuit_task.chip_mm(settings, s) for s in seen_s.tolist()])
    edges_s = np.cumsum([part.whole_s for part in settings.parts])[:-1]
    follows = np.array([hand.truth.follows(part.name) for part in settings.parts])

    def path(t_s: Floats) -> Floats:
        delay_s, gain = follows[np.searchsorted(edges_s, t_s - start_s, side="right")].T
        when_s = t_s - start_s - FLIP_S - delay_s
        x_mm, y_mm = (np.interp(when_s, seen_s, axis) for axis in chip_mm.T)
        return np.column_stack([gain * x_mm, y_mm])

    return path


def connect(hand: Hand) -> None:
    """Find each next node, go there, stay until it is captured."""
    for form in hand.run.settings.forms:  # the order of labels is what the person was told
        hand.stay(ANSWER_S)
        _take_up(hand, form.labels[0])
        for number, label in enumerate(form.labels[1:], start=1):
            _search(hand, label)
            others = form.labels[number + 1 :]
            if others and hand.chance(hand.truth.error_rate):
                _go_to(hand, str(hand.random.choice(others)), "error", 1)
                hand.react(hand.place_mm[0])
            elif others and hand.chance(hand.truth.slip_rate):
                _cross(hand, str(hand.random.choice(others)))
            _go_to(hand, label, "capture", TRIES)
        hand.lift()


def _take_up(hand: Hand, label: str) -> None:
    for _ in range(TRIES):
        first = hand.labelled(label)
        if first is None:
            return
        hand.approach(first)
        hand.forget()
        hand.press()
        if hand.wait_for("grab", limit_s=ANSWER_S) is not None:
            return
        hand.lift()
        hand.stay(PAUSE_S)


def _search(hand: Hand, label: str) -> None:
    truth, node = hand.truth, hand.labelled(label)
    pause_s = truth.search_s * float(hand.random.lognormal(0, truth.search_spread))
    slower = truth.handicap(node.x_mm) if node is not None else 1.0
    hand.stay(pause_s * hand.tired * slower)


def _go_to(hand: Hand, label: str, until: str, tries: int) -> None:
    """Drag to a node and stay until it answers; where it does not, aim again."""
    hand.forget()
    for _ in range(tries):
        node = hand.labelled(label)
        if node is None or node.role == "done":
            return
        seconds = hand.truth.drag_factor * hand.time_of_reach(node)
        if not _pull(hand, *hand.end_of_reach(node), seconds):
            _regain(hand)
        if hand.wait_for(until, limit_s=ANSWER_S) is not None:
            return


def _cross(hand: Hand, label: str) -> None:
    """Drag through a node to a place beyond it."""
    node = hand.labelled(label)
    if node is None:
        return
    x_mm, y_mm = hand.place_mm
    way_mm = math.dist((x_mm, y_mm), (node.x_mm, node.y_mm))
    longer = 1 + BEYOND_MM / max(way_mm, 1e-9)
    end_mm = (x_mm + longer * (node.x_mm - x_mm), y_mm + longer * (node.y_mm - y_mm))
    if not _pull(hand, *end_mm, hand.time_of_reach(node)):
        _regain(hand)


def _regain(hand: Hand) -> None:
    """Take up the chip again where it was left."""
    for _ in range(TRIES):
        chip = hand.disc("chip")
        if chip is None:
            return
        hand.approach(chip)
        hand.forget()
        hand.press()
        if hand.wait_for("regained", limit_s=ANSWER_S) is not None:
            return
        hand.lift()
        hand.stay(PAUSE_S)


DOINGS: dict[str, Callable[[Hand], None]] = {
    "tapping": tap,
    "slide": slide,
    "pursuit": follow,
    "trail": connect,
}
