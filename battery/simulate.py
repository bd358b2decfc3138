"""Made-up people with known truth, playing the real tasks in virtual time.

A person sees what was drawn (the marks of the last frame) and hears about cues as events, acts
after a delay, and moves a finger whose path has a known tremor, noise and aim. The truth is
what scoring has to recover. Nothing here describes a real person.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from battery.recording import Ending
from battery.runner import Run
from tasks import pursuit as pursuit_task
from tasks.contract import NS_PER_S, ContactKind, Disc, Event, Mark

FRAME_NS = NS_PER_S // 60
FLIP_NS = 300_000  # a virtual flip returns this long after its picture was drawn


@dataclass(frozen=True, slots=True)
class Truth:
    """What a made-up person is made of.

    Parameters
    ----------
    reaction_s, reaction_sd_s : float
        From a cue on the screen to the start of the movement.
    movement_s : float
        Time of a reach of 75 mm; grows with the square root of the distance.
    aim_noise : float
        Scatter of an end point as a share of the distance (signal-dependent noise).
    overshoot : float
        Mean end point beyond (or, negative, short of) the target, as a share of the distance.
    tremor_hz, tremor_mm : float
        Frequency and amplitude of the finger's tremor, the same in x and y.
    tremor_drift : float
        How much the tremor's size wanders, as a share; 0 is a pure sine.
    pursuit_delay_s, pursuit_gain : float
        How the finger follows the chip.
    slide_extent_mm, slide_s : float
        How far the chip is taken out, and the time of one way.
    search_s : float
        Time to find the next node of a trail.
    slip_rate : float
        Chance that a link first goes to a wrong node.
    fatigue : float
        Growth of noise and times over a block, as a share.
    lost_contact_per_min : float
        How often contact is lost while dragging.
    """

    reaction_s: float = 0.42
    reaction_sd_s: float = 0.05
    movement_s: float = 0.55
    aim_noise: float = 0.05
    overshoot: float = 0.0
    tremor_hz: float = 5.0
    tremor_mm: float = 0.8
    tremor_drift: float = 0.0
    pursuit_delay_s: float = 0.18
    pursuit_gain: float = 0.92
    slide_extent_mm: float = 65.0
    slide_s: float = 1.8
    search_s: float = 0.9
    slip_rate: float = 0.03
    fatigue: float = 0.0
    lost_contact_per_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Pointer:
    """What the person points with: report rate, grid of positions, stamps.

    Parameters
    ----------
    touch : bool
        A touch panel reports nothing in the air.
    rate_hz : float
    grid_mm : float
        Positions are rounded to it; 0 for none.
    stamp_jitter_s : float
        Standard deviation of the stamps' lateness.
    """

    touch: bool = True
    rate_hz: float = 120.0
    grid_mm: float = 0.1
    stamp_jitter_s: float = 0.0005

    @property
    def number(self) -> int:
        """The pointer number in contacts."""
        return 1 if self.touch else 0


TOUCH_60 = Pointer(rate_hz=60.0, grid_mm=0.15)
TOUCH_120 = Pointer(rate_hz=120.0, grid_mm=0.1)
MOUSE_125 = Pointer(touch=False, rate_hz=125.0, grid_mm=0.1)
POINTERS = {"touch 60 Hz": TOUCH_60, "touch 120 Hz": TOUCH_120, "mouse 125 Hz": MOUSE_125}


def minimum_jerk(share: float) -> float:
    """Share of the way covered after a share of the movement's time.

    Notes
    -----
    Flash T, Hogan N (1985). J Neurosci 5:1688-1703.
    """
    u = min(max(share, 0.0), 1.0)
    return u**3 * (10 - 15 * u + 6 * u * u)


Plan = Iterator[None]


class Person:
    """A source that plays a block as one made-up person would.

    Parameters
    ----------
    truth : Truth
    pointer : Pointer
    seed : int
        Everything random about this block.
    """

    def __init__(self, truth: Truth, pointer: Pointer = TOUCH_120, seed: int = 0) -> None:
        self._truth = truth
        self._pointer = pointer
        self._random = np.random.default_rng(seed)
        self._phase = self._random.uniform(0, 2 * math.pi, size=2)
        self._drift_phase = self._random.uniform(0, 2 * math.pi, size=2)

    def play(self, run: Run) -> tuple[Ending, str]:
        """Feed the run until its task is finished; always ends as finished."""
        hand = _Hand(run, self._truth, self._pointer, self._random, self.tremor_mm)
        actor: Callable[[_Hand], Plan] = {
            "tapping": _tap,
            "slide": _slide,
            "pursuit": _follow,
            "trail": _connect,
        }[run.task.name]
        plan = actor(hand)
        while not run.finished:
            try:
                next(plan)
            except StopIteration:
                hand.step()
        return "finished", ""

    def tremor_mm(self, t_s: float) -> tuple[float, float]:
        """Displacement of the finger by tremor at a time."""
        truth = self._truth
        size_mm = truth.tremor_mm * (
            1 + truth.tremor_drift * math.sin(2 * math.pi * 0.4 * t_s + self._drift_phase[0])
        )
        angle = 2 * math.pi * truth.tremor_hz * t_s
        return (
            size_mm * math.sin(angle + self._phase[0]),
            size_mm * math.sin(angle + self._phase[1]),
        )


class _Hand:
    """A finger in virtual time: one step is one report of the device."""

    def __init__(
        self,
        run: Run,
        truth: Truth,
        pointer: Pointer,
        random: np.random.Generator,
        tremor_mm: Callable[[float], tuple[float, float]],
    ) -> None:
        self.run = run
        self.truth = truth
        self.random = random
        self.pointer = pointer
        self.x_mm, self.y_mm = 0.0, -60.0
        self.down = False
        self.events: list[Event] = []
        self.marks: tuple[Mark, ...] = ()
        self._tremor_mm = tremor_mm
        self._reports = 0
        self._next_frame_ns = 0
        self._stamp_ns = 0
        self._lag_s = np.abs(random.normal(0, pointer.stamp_jitter_s, size=4096))
        self.draw()

    @property
    def t_s(self) -> float:
        """Time of the device, s."""
        return self._reports / self.pointer.rate_hz

    @property
    def tired(self) -> float:
        """Factor on noise and times that grows over a minute."""
        return 1 + self.truth.fatigue * self.t_s / 60

    def draw(self) -> None:
        """Draw the frames that are due; each shows the state of its own moment."""
        now_ns = round(self.t_s * NS_PER_S)
        while self._next_frame_ns <= now_ns:
            drawn_ns = max(self._next_frame_ns, self._stamp_ns)
            self._tell(self.run.tick(drawn_ns))
            self._stamp_ns = drawn_ns
            self.marks = self.run.marks(drawn_ns)
            self.run.frame(drawn_ns, drawn_ns + FLIP_NS)
            self._next_frame_ns += FRAME_NS

    def _tell(self, events: tuple[Event, ...]) -> None:
        self.events.extend(events)

    def report(self, kind: ContactKind) -> None:
        """Send one report of where the finger is."""
        shake_x_mm, shake_y_mm = self._tremor_mm(self.t_s)
        grid_mm = self.pointer.grid_mm
        x_mm, y_mm = self.x_mm + shake_x_mm, self.y_mm + shake_y_mm
        if grid_mm:
            x_mm, y_mm = round(x_mm / grid_mm) * grid_mm, round(y_mm / grid_mm) * grid_mm
        lag_s = float(self._lag_s[self._reports % len(self._lag_s)])
        stamp_ns = max(self._stamp_ns, round((self.t_s + lag_s) * NS_PER_S))
        self._stamp_ns = stamp_ns
        self._tell(
            self.run.contact(
                stamp_ns,
                kind,
                x_mm,
                y_mm,
                self.pointer.number,
                stamp_gap_ns=round(2 * self.pointer.stamp_jitter_s * NS_PER_S),
            )
        )

    def step(self) -> None:
        """Let one report interval pass, sending a report if the device sees the finger."""
        self._reports += 1
        self.draw()
        if self.down:
            self.report("move")
        elif not self.pointer.touch:
            self.report("hover")

    def press(self) -> None:
        """Touch the glass."""
        self.down = True
        self.report("down")

    def lift(self) -> None:
        """Leave the glass."""
        self.report("up")
        self.down = False

    def wait(self, seconds: float) -> Plan:
        """Stay where the finger is."""
        until_s = self.t_s + seconds
        while self.t_s < until_s and not self.run.finished:
            self.step()
            yield

    def move(self, x_mm: float, y_mm: float, seconds: float) -> Plan:
        """Make a minimum-jerk movement."""
        x0_mm, y0_mm, begun_s = self.x_mm, self.y_mm, self.t_s
        while self.t_s < begun_s + seconds and not self.run.finished:
            share = minimum_jerk((self.t_s + 1 / self.pointer.rate_hz - begun_s) / seconds)
            self.x_mm = x0_mm + share * (x_mm - x0_mm)
            self.y_mm = y0_mm + share * (y_mm - y0_mm)
            self.step()
            yield

    def wait_for(self, *kinds: str) -> Plan:
        """Stay until the task says one of these; earlier words are forgotten."""
        while not any(e.kind in kinds for e in self.events) and not self.run.finished:
            self.step()
            yield
        self.events = []

    def react(self) -> Plan:
        """Let the reaction time pass."""
        pause_s = self.random.normal(self.truth.reaction_s, self.truth.reaction_sd_s)
        yield from self.wait(max(0.15, float(pause_s)) * self.tired)

    def noisy_end(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where a reach for a place ends: aim, overshoot and signal-dependent noise."""
        dx_mm, dy_mm = x_mm - self.x_mm, y_mm - self.y_mm
        spread_mm = self.truth.aim_noise * math.hypot(dx_mm, dy_mm) * self.tired
        noise_mm = self.random.normal(0, spread_mm, size=2) if spread_mm else (0.0, 0.0)
        return (
            x_mm + self.truth.overshoot * dx_mm + float(noise_mm[0]),
            y_mm + self.truth.overshoot * dy_mm + float(noise_mm[1]),
        )

    def reach_s(self, x_mm: float, y_mm: float) -> float:
        """Time for a reach to a place."""
        distance_mm = math.hypot(x_mm - self.x_mm, y_mm - self.y_mm)
        return max(0.15, self.truth.movement_s * math.sqrt(distance_mm / 75.0) * self.tired)

    def disc(self, *roles: str) -> Disc | None:
        """Return the first disc seen in one of these roles."""
        return next((m for m in self.marks if isinstance(m, Disc) and m.role in roles), None)


def _tap(hand: _Hand) -> Plan:
    """Hold home, wait for go, reach, touch, return."""
    while not hand.run.finished:
        home = hand.disc("home")
        if home is None:
            hand.step()
            yield
            continue
        yield from hand.move(home.x_mm, home.y_mm, hand.reach_s(home.x_mm, home.y_mm))
        hand.events = []
        hand.press()
        yield from hand.wait_for("go", "early")
        yield from hand.react()
        target = hand.disc("go")
        hand.lift()
        if target is None:
            continue
        end = hand.noisy_end(target.x_mm, target.y_mm)
        yield from hand.move(*end, hand.reach_s(*end))
        hand.press()
        yield from hand.wait(0.08)
        hand.lift()
        yield from hand.wait(0.1)


def _grasp(hand: _Hand, disc: Disc) -> Plan:
    yield from hand.move(disc.x_mm, disc.y_mm, hand.reach_s(disc.x_mm, disc.y_mm))
    hand.press()


def _slide(hand: _Hand) -> Plan:
    """Touch the fixed target, take the chip out and back."""
    while not hand.run.finished:
        target = hand.disc("go")
        if target is None:
            hand.step()
            yield
            continue
        if hand.down:
            hand.lift()
        yield from hand.react()
        yield from _grasp(hand, target)
        yield from hand.wait(0.15)
        hand.lift()
        yield from hand.wait(0.1)
        chip = hand.disc("go")
        track = next((m for m in hand.marks if not isinstance(m, Disc)), None)
        if chip is None or track is None:
            continue
        yield from _grasp(hand, chip)
        yield from hand.wait(0.3)
        start_mm, end_mm = track.points_mm[0], track.points_mm[-1]
        sign = math.copysign(1.0, end_mm[0] - start_mm[0])
        far_mm = hand.truth.slide_extent_mm * float(hand.random.normal(1, 0.03))
        yield from hand.move(start_mm[0] + sign * far_mm, start_mm[1], hand.truth.slide_s)
        yield from hand.wait(0.2)
        yield from hand.move(start_mm[0], start_mm[1], hand.truth.slide_s)
        yield from hand.wait(0.2)


def _follow(hand: _Hand) -> Plan:
    """Press the chip and follow it with a delay and a gain."""
    settings = hand.run.settings
    chip = hand.disc("go")
    if chip is None:
        return
    yield from hand.react()
    yield from _grasp(hand, chip)
    begun_s = hand.t_s
    truth = hand.truth
    step_s = 1 / hand.pointer.rate_hz
    while not hand.run.finished:
        since_s = hand.t_s + step_s - begun_s - truth.pursuit_delay_s
        x_mm, y_mm = pursuit_task.chip_mm(settings, max(since_s, 0.0))
        hand.x_mm, hand.y_mm = truth.pursuit_gain * x_mm, y_mm
        hand.step()
        yield
        if hand.down and hand.random.random() < truth.lost_contact_per_min / 60 * step_s:
            hand.lift()
            yield from hand.wait(0.3)
            hand.press()


def _connect(hand: _Hand) -> Plan:
    """Find each next node, go there, stay until it is captured."""
    settings = hand.run.settings
    for form in settings.forms:
        if hand.down:
            hand.lift()
        yield from hand.wait(0.6)
        first = form.nodes_mm[0]
        yield from hand.move(first[0], first[1], hand.reach_s(*first))
        hand.press()
        for number in range(1, len(form.nodes_mm)):
            pause_s = hand.truth.search_s * float(hand.random.lognormal(0, 0.35))
            yield from hand.wait(pause_s * hand.tired)
            wrong = number + 1 < len(form.nodes_mm) and (
                hand.random.random() < hand.truth.slip_rate
            )
            if wrong:
                yield from _visit(hand, form.nodes_mm[number + 1])
                yield from hand.wait(0.5)
            for _ in range(20):
                hand.events = []
                yield from _visit(hand, form.nodes_mm[number])
                if hand.run.finished or _captured(hand):
                    break


def _visit(hand: _Hand, node_mm: tuple[float, float]) -> Plan:
    end = hand.noisy_end(*node_mm)
    yield from hand.move(end[0], end[1], 1.6 * hand.reach_s(*end))
    yield from hand.wait(0.35)


def _captured(hand: _Hand) -> bool:
    return any(e.kind == "capture" for e in hand.events)


def better(truth: Truth, share: float) -> Truth:
    """Return a truth with errors, times and tremor smaller by a share, for demos and tests."""
    k = 1 - share
    return replace(
        truth,
        reaction_s=truth.reaction_s * k,
        movement_s=truth.movement_s * k,
        aim_noise=truth.aim_noise * k,
        tremor_mm=truth.tremor_mm * k,
        pursuit_delay_s=truth.pursuit_delay_s * k,
        search_s=truth.search_s * k,
    )
