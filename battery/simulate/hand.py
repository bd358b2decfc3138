"""A finger in virtual time: what it does, what its device tells, what its owner gets to see.

Two clocks run side by side. The hand moves in continuous time; the device scans it at its own
rate and tells of a press or a lift at the next scan. Frames are drawn 60 times a second, and
the person sees what a frame shows when its flip returns, never earlier.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from battery.runner import Run
from battery.simulate.motion import (
    Floats,
    Tremor,
    Wander,
    intention_growth,
    minimum_jerk,
    reach_s,
)
from battery.simulate.pointer import Pointer
from battery.simulate.truth import Truth
from tasks.contract import NS_PER_S, ContactKind, Disc, Event, Line, Mark

FRAME_NS = NS_PER_S // 60
FLIP_NS = 300_000  # a virtual flip returns this long after its picture was drawn
FLIP_S = FLIP_NS / NS_PER_S
FIRST_MM = (0.0, -60.0)  # where the finger is before the block
FAR_MM = (1e6, 1e6)  # no goal
MAX_PIECE_S = 10.0
CHUNK_S = 0.5  # while waiting, the path is made for so long at a time
N_RANDOM = 4096
MIN_REACTION_S = 0.12
CARE = 0.5  # share of the usual scatter when nothing presses
UNHURRIED = 1.3
PALM_MM = (25.0, -20.0)
PALM_S = 0.15

Path = Callable[[Floats], Floats]  # moments, s, shape (n,) -> places, mm, shape (n, 2)


class BlockOver(Exception):  # noqa: N818 - not an error: the way out of a person's doings
    """The task has come to its end."""


class Hand:
    """The finger of a simulated participant during one block.

    Parameters
    ----------
    run : Run
    truth : Truth
    pointer : Pointer
    seed : int

    Attributes
    ----------
    t_s : float
        The hand's own time, from the start of the block.
    place_mm : tuple of float
        Where the finger would be without tremor and wandering.
    marks : tuple of Mark
        What the last frame showed.
    """

    def __init__(self, run: Run, truth: Truth, pointer: Pointer, seed: int) -> None:
        doing, shaking, device = (
            np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3)
        )
        self.run = run
        self.truth = truth
        self.random = doing
        self.t_s = 0.0
        self.place_mm = FIRST_MM
        self.marks: tuple[Mark, ...] = ()
        self._pointer = pointer
        self._tremor = Tremor(truth, shaking)
        self._wander = Wander(truth.wander_mm, shaking)
        self._jitter_s = pointer.scan_jitter_s * np.clip(device.normal(size=N_RANDOM), -2, 2)
        self._late_s = pointer.drain_s * device.uniform(size=N_RANDOM)
        self._gap_ns = math.ceil(pointer.drain_s * NS_PER_S)
        self._scan = 1
        self._down = self._told_down = False
        self._told_mm = FIRST_MM
        self._stamp_ns = 0
        self._frame_ns = 0
        self._news: list[Event] = []
        self._seen: list[Event] = []
        self._goals_mm: tuple[tuple[float, float], ...] = (FAR_MM,)
        self._holding_s = self._until_loss()
        self._palm_s = self._until_palm()
        self._palm_down = False
        self._draw()

    # What the person sees

    def disc(self, *roles: str) -> Disc | None:
        """Return the first disc on the screen in one of these roles."""
        return next((m for m in self.marks if isinstance(m, Disc) and m.role in roles), None)

    def labelled(self, label: str) -> Disc | None:
        """Return the disc that carries a label."""
        return next((m for m in self.marks if isinstance(m, Disc) and m.label == label), None)

    def track(self) -> Line | None:
        """Return the line on the screen."""
        return next((m for m in self.marks if isinstance(m, Line)), None)

    def forget(self) -> None:
        """Forget everything that was seen to happen."""
        self._seen = []

    def wait_for(self, *kinds: str, limit_s: float) -> Event | None:
        """Keep still until one of these is seen; None when it is not within the limit.

        What was seen since the last `forget` counts.
        """
        until_s = self.t_s + limit_s
        while True:
            for event in self._seen:
                if event.kind in kinds:
                    return event
            if self.t_s >= until_s:
                return None
            self._pass(min(until_s, self.t_s + CHUNK_S), self._still, kinds)

    # What the person does

    def press(self) -> None:
        """Touch the glass; the device tells of it at its next scan."""
        self._down = True

    def lift(self) -> None:
        """Leave the glass."""
        self._down = False

    def stay(self, seconds: float) -> None:
        """Keep still."""
        self._pass(self.t_s + seconds, self._still)

    def react(self, x_mm: float) -> None:
        """Let the reaction to something at `x_mm` pass."""
        truth = self.truth
        pause_s = self.random.normal(truth.reaction_s, truth.reaction_sd_s)
        pause_s += self.random.exponential(truth.reaction_tail_s)
        self.stay(max(MIN_REACTION_S, pause_s) * self.tired * truth.handicap(x_mm))

    def move(self, x_mm: float, y_mm: float, seconds: float) -> None:
        """Make one minimum-jerk movement."""
        self._pass(self.t_s + seconds, self._way(x_mm, y_mm, seconds))

    def reach(self, disc: Disc, *, slower: float = 1.0, care: float = 1.0) -> None:
        """Reach for a disc in the air: aim, overshoot and signal-dependent scatter.

        Parameters
        ----------
        slower : float
            Factor on the time.
        care : float
            Factor on the scatter.
        """
        self.move(*self.end_of_reach(disc, care), slower * self.time_of_reach(disc))

    def approach(self, disc: Disc) -> None:
        """Go somewhere without haste; nothing is measured on the way."""
        self.reach(disc, slower=UNHURRIED, care=CARE)

    def drag(self, x_mm: float, y_mm: float, seconds: float) -> bool:
        """Move on the glass; False when contact was lost on the way and just taken up again."""
        way = self._way(x_mm, y_mm, seconds)
        if self._holding_s >= seconds:
            self._holding_s -= seconds
            self._pass(self.t_s + seconds, way)
            return True
        self._pass(self.t_s + self._holding_s, way)
        self.forget()
        self.lift()
        self.stay(self.truth.lost_contact_s)
        self.press()
        self._holding_s = self._until_loss()
        return False

    def follow(self, path: Path) -> None:
        """Move along a path for ever, losing contact now and then."""
        self._goals_mm = (FAR_MM,)
        while True:
            while self._holding_s > 0:
                piece_s = min(self._holding_s, MAX_PIECE_S)
                self._pass(self.t_s + piece_s, path)
                self._holding_s -= piece_s
            self.lift()
            self._pass(self.t_s + self.truth.lost_contact_s, path)
            self.press()
            self._holding_s = self._until_loss()

    def chance(self, share: float) -> bool:
        """Decide something that happens with a given chance."""
        return bool(self.random.random() < share)

    @property
    def tired(self) -> float:
        """Factor on times, scatter and tremor that grows over the block."""
        return 1 + self.truth.fatigue * self.t_s / 60

    def end_of_reach(self, disc: Disc, care: float = 1.0) -> tuple[float, float]:
        """Where a reach for a disc ends."""
        truth = self.truth
        dx_mm, dy_mm = disc.x_mm - self.place_mm[0], disc.y_mm - self.place_mm[1]
        spread = truth.aim_noise * self.tired * truth.handicap(disc.x_mm) * care
        along, across = self.random.normal(size=2) * spread
        along += truth.overshoot
        across *= truth.aim_noise_across
        return (
            disc.x_mm + along * dx_mm - across * dy_mm,
            disc.y_mm + along * dy_mm + across * dx_mm,
        )

    def time_of_reach(self, disc: Disc) -> float:
        """Draw the time of a reach for a disc, s."""
        truth = self.truth
        distance_mm = math.dist(self.place_mm, (disc.x_mm, disc.y_mm))
        mean_s = reach_s(truth, distance_mm, 2 * disc.r_mm)
        spread = self.random.normal(0, truth.movement_spread)
        return mean_s * math.exp(spread) * self.tired * truth.handicap(disc.x_mm)

    # Virtual time

    def _way(self, x_mm: float, y_mm: float, seconds: float) -> Path:
        """Make the path of a minimum-jerk movement that begins now."""
        self._goals_mm = (self._goals_mm[-1], (x_mm, y_mm))
        begun_s, start_mm = self.t_s, np.array(self.place_mm)
        way_mm = np.array([x_mm, y_mm]) - start_mm

        def path(t_s: Floats) -> Floats:
            share = minimum_jerk((t_s - begun_s) / max(seconds, 1e-9))
            return np.asarray(start_mm + share[:, None] * way_mm)

        return path

    def _still(self, t_s: Floats) -> Floats:
        return np.broadcast_to(np.array(self.place_mm), (len(t_s), 2))

    def _pass(self, end_s: float, path: Path, kinds: tuple[str, ...] = ()) -> None:
        """Let time pass along a path until `end_s`, or until one of `kinds` is seen."""
        seen = False
        for stamp_ns, x_mm, y_mm in self._reports(end_s, path):
            while self._frame_ns <= stamp_ns and not seen:
                seen = self._draw(kinds)
            if seen:
                break
            self._scan += 1
            self._tell(stamp_ns, x_mm, y_mm)
        while self._frame_ns + FLIP_NS <= end_s * NS_PER_S and not seen:
            seen = self._draw(kinds)
        if seen:  # the rest until that flip returned
            flip_s = (self._frame_ns - FRAME_NS + FLIP_NS) / NS_PER_S
            self._pass(max(flip_s, self.t_s), path)
            return
        while self._scan_s(self._scan) <= end_s:  # what the device did not see
            self._scan += 1
        self.t_s = end_s
        self.place_mm = tuple(path(np.array([end_s]))[0].tolist())

    def _scan_s(self, scan: int) -> float:
        return scan / self._pointer.rate_hz + float(self._jitter_s[scan % N_RANDOM])

    def _reports(self, end_s: float, path: Path) -> list[tuple[int, float, float]]:
        """List stamps and places of the scans until `end_s` at which the device sees."""
        if self._pointer.touch and not (self._down or self._told_down):
            return []
        scans = np.arange(self._scan, math.floor(end_s * self._pointer.rate_hz) + 2)
        t_s = scans / self._pointer.rate_hz + self._jitter_s[scans % N_RANDOM]
        before = t_s <= end_s
        scans, t_s = scans[before], t_s[before]
        if self._pointer.touch and not self._down:
            scans, t_s = scans[:1], t_s[:1]  # the lift, then nothing
        steady_mm = path(t_s)
        growth = 1 + self.truth.fatigue * t_s / 60
        if self.truth.intention:
            growth = growth * intention_growth(self.truth, steady_mm, self._goals_mm)
        place_mm = steady_mm + self._wander.at(t_s) + growth[:, None] * self._tremor.at(t_s)
        grid_mm = self._pointer.grid_mm
        if grid_mm:
            place_mm = np.round(place_mm / grid_mm) * grid_mm
        stamps_ns = np.ceil((t_s + self._late_s[scans % N_RANDOM]) * NS_PER_S).astype(np.int64)
        return list(zip(stamps_ns.tolist(), *place_mm.T.tolist(), strict=True))

    def _tell(self, stamp_ns: int, x_mm: float, y_mm: float) -> None:
        """Report what a scan found, if the device would."""
        kind: ContactKind
        if self._down != self._told_down:
            kind = "down" if self._down else "up"
            if kind == "up" and self._pointer.touch:
                x_mm, y_mm = self._told_mm  # a panel has lost the finger by then
        elif not self._pointer.reports_at_rest and (x_mm, y_mm) == self._told_mm:
            return
        else:
            kind = "move" if self._down else "hover"
        self._told_down, self._told_mm = self._down, (x_mm, y_mm)
        self._stamp_ns = max(self._stamp_ns, stamp_ns)
        if kind == "up" and self._palm_down:
            self._palm("up")
        self._send(kind, x_mm, y_mm, self._pointer.number)
        if kind == "move" and self._stamp_ns >= self._palm_s * NS_PER_S:
            self._palm("up" if self._palm_down else "down")

    def _palm(self, kind: ContactKind) -> None:
        """Bring the second contact down or take it away."""
        x_mm, y_mm = self._told_mm[0] + PALM_MM[0], self._told_mm[1] + PALM_MM[1]
        self._palm_down = kind == "down"
        now_s = self._stamp_ns / NS_PER_S
        self._palm_s = now_s + (PALM_S if self._palm_down else self._until_palm())
        self._send(kind, x_mm, y_mm, self._pointer.number + 1)

    def _send(self, kind: ContactKind, x_mm: float, y_mm: float, pointer: int) -> None:
        self._news += self.run.contact(
            self._stamp_ns, kind, x_mm, y_mm, pointer, stamp_gap_ns=self._gap_ns
        )
        if self.run.finished:
            raise BlockOver

    def _draw(self, kinds: tuple[str, ...] = ()) -> bool:
        """Draw the frame that is due; return whether it shows one of `kinds`."""
        drawn_ns = self._stamp_ns = max(self._frame_ns, self._stamp_ns)
        self._news += self.run.tick(drawn_ns)
        if self._news or self._frame_ns == 0:
            self.marks = self.run.marks(drawn_ns)
        self.run.frame(drawn_ns, drawn_ns + FLIP_NS)
        self._frame_ns += FRAME_NS
        if self.run.finished:
            raise BlockOver
        news, self._news = self._news, []
        self._seen += news
        return any(event.kind in kinds for event in news)

    def _until_loss(self) -> float:
        """Draw how long contact will hold while dragging, s."""
        rate = self.truth.lost_contact_per_min
        return float(self.random.exponential(60 / rate)) if rate else math.inf

    def _until_palm(self) -> float:
        rate = self.truth.palm_per_min
        return float(self.random.exponential(60 / rate)) if rate else math.inf
