"""Smooth-pursuit drag: press the chip and keep the finger on it while it moves.

The chip moves along one line, first predictably (a single sine), then not (a sum of five
sines). Across the line nothing is asked, so what happens there is the hand's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import Enum

from tasks.contract import (
    NS_PER_S,
    Contact,
    Disc,
    Event,
    Line,
    Mark,
    Role,
    Signal,
    Task,
    distance_mm,
)
from tasks.following import Pointers, heed


@dataclass(frozen=True, slots=True)
class PursuitPart:
    """One part of the movement.

    Parameters
    ----------
    name : {"predictable", "unpredictable"}
    lead_s, tail_s : float
        Time in which the movement grows from rest and fades to rest; not scored.
    duration_s : float
        Scored time: a whole number of cycles of every component.
    components : tuple of (amplitude_mm, frequency_hz, phase_rad)
        The chip is at the sum of ``amplitude * sin(2 pi frequency t + phase)``, t from the
        start of the scored time.
    """

    name: str
    lead_s: float
    duration_s: float
    tail_s: float
    components: tuple[tuple[float, float, float], ...]

    @property
    def whole_s(self) -> float:
        """Length of the part with lead and tail, s."""
        return self.lead_s + self.duration_s + self.tail_s


@dataclass(frozen=True, slots=True)
class PursuitSettings:
    """Everything a pursuit block is made of; lengths in mm, times in s.

    `direction` is 1, or -1 in the mirrored block. `start_limit_s` is how long the chip waits
    for the first press.
    """

    parts: tuple[PursuitPart, ...]
    chip_r_mm: float
    track_half_mm: float
    direction: float = 1.0
    y_mm: float = 0.0
    start_limit_s: float = 30.0


class Phase(Enum):
    """Where the block stands."""

    WAITING = "waiting"
    MOVING = "moving"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class PursuitState:
    """State of a pursuit block; times in ns.

    `step` counts the boundaries that have passed: start and end of each part's scored time,
    then the end of the block.
    """

    phase: Phase = Phase.WAITING
    start_ns: int = -1
    step: int = 0
    pointers: Pointers = field(default=Pointers())


def start(settings: PursuitSettings) -> PursuitState:
    """Return the state before the first signal."""
    del settings
    return PursuitState()


def finished(state: PursuitState) -> bool:
    """Whether the block is over."""
    return state.phase is Phase.FINISHED


def chip_mm(settings: PursuitSettings, since_start_s: float) -> tuple[float, float]:
    """Where the chip is, `since_start_s` seconds after it was first pressed, mm."""
    left_s = since_start_s
    for part in settings.parts:
        if left_s < part.whole_s:
            t_s = left_s - part.lead_s
            grown = _smooth(left_s / part.lead_s) if part.lead_s > 0 else 1.0
            rest_s = part.whole_s - left_s
            faded = _smooth(rest_s / part.tail_s) if part.tail_s > 0 else 1.0
            swing_mm = sum(
                a_mm * math.sin(2 * math.pi * f_hz * t_s + phase)
                for a_mm, f_hz, phase in part.components
            )
            return settings.direction * swing_mm * min(grown, faded), settings.y_mm
        left_s -= part.whole_s
    return 0.0, settings.y_mm


def _smooth(share: float) -> float:
    """Rise from 0 to 1 with level ends."""
    u = min(max(share, 0.0), 1.0)
    return u * u * (3 - 2 * u)


def boundaries_s(settings: PursuitSettings) -> tuple[float, ...]:
    """Start and end of each part's scored time, then the end of the block, s from the press."""
    times: list[float] = []
    begun_s = 0.0
    for part in settings.parts:
        times += [begun_s + part.lead_s, begun_s + part.lead_s + part.duration_s]
        begun_s += part.whole_s
    return (*times, begun_s)


def advance(
    settings: PursuitSettings, state: PursuitState, signal: Signal
) -> tuple[PursuitState, tuple[Event, ...]]:
    """Return the state after `signal` and what was decided on the way."""
    events: list[Event] = []
    while (due_ns := _due_ns(settings, state)) is not None and due_ns <= signal.t_ns:
        state = _fall_due(settings, state, due_ns, events)
    if state.phase is not Phase.FINISHED and isinstance(signal, Contact):
        state = _on_contact(settings, state, signal, events)
    return state, tuple(events)


def _due_ns(settings: PursuitSettings, state: PursuitState) -> int | None:
    if state.phase is Phase.FINISHED:
        return None
    if state.phase is Phase.WAITING:
        return round(settings.start_limit_s * NS_PER_S)
    return state.start_ns + round(boundaries_s(settings)[state.step] * NS_PER_S)


def _fall_due(
    settings: PursuitSettings, state: PursuitState, due_ns: int, events: list[Event]
) -> PursuitState:
    if state.phase is Phase.WAITING:
        events += [Event(due_ns, "no_answer"), Event(due_ns, "end")]
        return replace(state, phase=Phase.FINISHED)
    part, leaving = divmod(state.step, 2)
    if part == len(settings.parts):
        events.append(Event(due_ns, "end"))
        return replace(state, phase=Phase.FINISHED)
    kind = "part_end" if leaving else "part"
    events.append(Event(due_ns, kind, part, settings.parts[part].name))
    return replace(state, step=state.step + 1)


def _on_contact(
    settings: PursuitSettings, state: PursuitState, contact: Contact, events: list[Event]
) -> PursuitState:
    trial = _trial(settings, state)
    place = ("", contact.x_mm, contact.y_mm)
    pointers, meaning = heed(state.pointers, contact, trial, events)
    if pointers is not state.pointers:
        state = replace(state, pointers=pointers)
    if meaning == "press":
        following = pointers.follow(contact)
        if state.phase is Phase.MOVING:
            events.append(Event(contact.t_ns, "regained", trial, *place))
            return replace(state, pointers=following)
        off_mm = distance_mm(contact.x_mm, contact.y_mm, 0.0, settings.y_mm)
        if off_mm > settings.chip_r_mm:
            return state
        events.append(Event(contact.t_ns, "start", -1, *place))
        return PursuitState(Phase.MOVING, contact.t_ns, 0, following)
    if meaning == "lift":
        events.append(Event(contact.t_ns, "lost", trial, *place))
    return state


def _trial(settings: PursuitSettings, state: PursuitState) -> int:
    """Part whose scored time is running, or -1."""
    part, inside = divmod(state.step, 2)
    running = state.phase is Phase.MOVING and inside == 1 and part < len(settings.parts)
    return part if running else -1


def view(settings: PursuitSettings, state: PursuitState, t_ns: int) -> tuple[Mark, ...]:
    """List what is to be seen: the line and the chip on it."""
    if state.phase is Phase.FINISHED:
        return ()
    half_mm, y_mm = settings.track_half_mm, settings.y_mm
    track = Line(((-half_mm, y_mm), (half_mm, y_mm)), 1.5, "track")
    if state.phase is Phase.WAITING:
        return (track, Disc(0.0, y_mm, settings.chip_r_mm, "go"))
    x_mm, y_mm = chip_mm(settings, (t_ns - state.start_ns) / NS_PER_S)
    role: Role = "chip" if state.pointers.followed is None else "held"
    return (track, Disc(x_mm, y_mm, settings.chip_r_mm, role))


def mirror(settings: PursuitSettings) -> PursuitSettings:
    """Exchange left and right."""
    return replace(settings, direction=-settings.direction)


def extent_mm(settings: PursuitSettings) -> tuple[float, float]:
    """Half width and half height of everything drawn, mm."""
    widest_mm = settings.track_half_mm + settings.chip_r_mm
    return widest_mm, abs(settings.y_mm) + settings.chip_r_mm


PURSUIT: Task[PursuitSettings, PursuitState] = Task(
    name="pursuit",
    settings_type=PursuitSettings,
    start=start,
    advance=advance,
    view=view,
    mirror=mirror,
    finished=finished,
    event_kinds=frozenset(
        ["start", "part", "part_end", "lost", "regained", "extra", "no_answer", "end"]
    ),
)
