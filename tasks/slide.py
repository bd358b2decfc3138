"""Slide: touch the fixed target, drag the chip along a track to one side and back, alternate.

As far as is comfortable and at one's own pace. The chip keeps to the track; the finger may
stray from it, and that is what is measured.
"""

from __future__ import annotations

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
    mirror_label,
)
from tasks.following import Pointers, heed

REGRAB_MM = 5.0  # a chip that was let go may be taken up this far outside its rim


@dataclass(frozen=True, slots=True)
class SlideSettings:
    """Everything a slide block is made of; lengths in mm, times in s.

    Parameters
    ----------
    fixed_x_mm, fixed_y_mm, fixed_r_mm : float
        The fixed target.
    chip_x_mm, chip_y_mm, chip_r_mm : float
        The chip at the start of its track.
    reach_mm : float
        Length of the track to either side.
    first_side : {"left", "right"}
        Then sides alternate.
    duration_s : float
    least_out_mm : float
        A pass counts when the chip went out at least this far and came back.
    """

    fixed_x_mm: float
    fixed_y_mm: float
    fixed_r_mm: float
    chip_x_mm: float
    chip_y_mm: float
    chip_r_mm: float
    reach_mm: float
    first_side: str
    duration_s: float = 60.0
    least_out_mm: float = 20.0


class Phase(Enum):
    """Where the block stands."""

    TOUCHING = "touching"  # waiting for a touch on the fixed target
    GRASPING = "grasping"  # waiting for a press on the chip
    DRAGGING = "dragging"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class SlideState:
    """State of a slide block; lengths along the track of the side, mm."""

    phase: Phase = Phase.TOUCHING
    trial: int = 0
    pointers: Pointers = field(default=Pointers())
    holding: bool = False
    out_mm: float = 0.0  # where the chip is
    farthest_mm: float = 0.0
    grip_mm: float = 0.0  # pointer minus chip along the track when it was taken up
    asked: bool = False


def start(settings: SlideSettings) -> SlideState:
    """Return the state before the first signal."""
    del settings
    return SlideState()


def finished(state: SlideState) -> bool:
    """Whether the block is over."""
    return state.phase is Phase.FINISHED


def side_of(settings: SlideSettings, trial: int) -> str:
    """Side of a pass: sides alternate from the first."""
    return settings.first_side if trial % 2 == 0 else mirror_label(settings.first_side)


def _sign(settings: SlideSettings, trial: int) -> float:
    return -1.0 if side_of(settings, trial) == "left" else 1.0


def advance(
    settings: SlideSettings, state: SlideState, signal: Signal
) -> tuple[SlideState, tuple[Event, ...]]:
    """Return the state after `signal` and what was decided on the way."""
    if state.phase is Phase.FINISHED:
        return state, ()
    events: list[Event] = []
    if not state.asked:
        state = replace(state, asked=True)
        events.append(_cue(settings, 0, 0))
    end_ns = round(settings.duration_s * NS_PER_S)
    if signal.t_ns >= end_ns:
        events.append(Event(end_ns, "end"))
        return replace(state, phase=Phase.FINISHED), tuple(events)
    if isinstance(signal, Contact):
        state = _on_contact(settings, state, signal, events)
    return state, tuple(events)


def _cue(settings: SlideSettings, trial: int, t_ns: int) -> Event:
    return Event(
        t_ns,
        "cue",
        trial,
        side_of(settings, trial),
        settings.fixed_x_mm,
        settings.fixed_y_mm,
        settings.fixed_r_mm,
    )


def _on_contact(
    settings: SlideSettings, state: SlideState, contact: Contact, events: list[Event]
) -> SlideState:
    pointers, meaning = heed(state.pointers, contact, state.trial, events)
    if pointers is not state.pointers:
        state = replace(state, pointers=pointers)
    if meaning == "press":
        return _on_press(settings, state, contact, events)
    if meaning == "lift" and state.holding:
        events.append(_at(contact, "lost", state.trial, side_of(settings, state.trial)))
        return replace(state, holding=False)
    if meaning == "drag" and state.holding:
        return _on_drag(settings, state, contact, events)
    return state


def _at(contact: Contact, kind: str, trial: int, label: str) -> Event:
    return Event(contact.t_ns, kind, trial, label, contact.x_mm, contact.y_mm)


def _on_press(
    settings: SlideSettings, state: SlideState, contact: Contact, events: list[Event]
) -> SlideState:
    trial = state.trial
    following = state.pointers.follow(contact)
    if state.phase is Phase.TOUCHING:
        off_mm = distance_mm(
            contact.x_mm, contact.y_mm, settings.fixed_x_mm, settings.fixed_y_mm
        )
        hit = off_mm <= settings.fixed_r_mm
        events.append(_at(contact, "touch", trial, "hit" if hit else "miss"))
        return replace(state, phase=Phase.GRASPING, pointers=following) if hit else state
    sign = _sign(settings, trial)
    chip_x_mm = settings.chip_x_mm + sign * state.out_mm
    off_mm = distance_mm(contact.x_mm, contact.y_mm, chip_x_mm, settings.chip_y_mm)
    taken_before = state.phase is Phase.DRAGGING
    if off_mm > settings.chip_r_mm + (REGRAB_MM if taken_before else 0.0):
        return state
    kind = "regained" if taken_before else "grab"
    events.append(_at(contact, kind, trial, side_of(settings, trial)))
    grip_mm = sign * (contact.x_mm - chip_x_mm)
    return replace(
        state, phase=Phase.DRAGGING, pointers=following, holding=True, grip_mm=grip_mm
    )


def _on_drag(
    settings: SlideSettings, state: SlideState, contact: Contact, events: list[Event]
) -> SlideState:
    trial, sign = state.trial, _sign(settings, state.trial)
    along_mm = sign * (contact.x_mm - settings.chip_x_mm) - state.grip_mm
    out_mm = min(max(along_mm, 0.0), settings.reach_mm)
    farthest_mm = max(state.farthest_mm, out_mm)
    home = out_mm <= settings.chip_r_mm
    if not (home and farthest_mm >= settings.least_out_mm):
        return replace(state, out_mm=out_mm, farthest_mm=farthest_mm)
    signed_mm = sign * farthest_mm
    events.append(
        Event(
            contact.t_ns,
            "pass",
            trial,
            side_of(settings, trial),
            settings.chip_x_mm + signed_mm,
            settings.chip_y_mm,
            0.0,
        )
    )
    events.append(_cue(settings, trial + 1, contact.t_ns))
    return SlideState(trial=trial + 1, pointers=state.pointers, asked=True)


def view(settings: SlideSettings, state: SlideState, t_ns: int) -> tuple[Mark, ...]:
    """List what is to be seen: the fixed target, the track of this side, the chip."""
    del t_ns
    if state.phase is Phase.FINISHED:
        return ()
    sign = _sign(settings, state.trial)
    x_mm, y_mm = settings.chip_x_mm, settings.chip_y_mm
    touching = state.phase is Phase.TOUCHING
    chip: Role = "idle" if touching else "held" if state.holding else "go"
    return (
        Line(((x_mm, y_mm), (x_mm + sign * settings.reach_mm, y_mm)), 1.5, "track"),
        Disc(
            settings.fixed_x_mm,
            settings.fixed_y_mm,
            settings.fixed_r_mm,
            "go" if touching else "done",
        ),
        Disc(x_mm + sign * state.out_mm, y_mm, settings.chip_r_mm, chip),
    )


def mirror(settings: SlideSettings) -> SlideSettings:
    """Exchange left and right."""
    return replace(
        settings,
        fixed_x_mm=-settings.fixed_x_mm,
        chip_x_mm=-settings.chip_x_mm,
        first_side=mirror_label(settings.first_side),
    )


def extent_mm(settings: SlideSettings) -> tuple[float, float]:
    """Half width and half height of everything drawn, mm."""
    half_width_mm = max(
        abs(settings.chip_x_mm) + settings.reach_mm + settings.chip_r_mm,
        abs(settings.fixed_x_mm) + settings.fixed_r_mm,
    )
    half_height_mm = max(
        abs(settings.chip_y_mm) + settings.chip_r_mm,
        abs(settings.fixed_y_mm) + settings.fixed_r_mm,
    )
    return half_width_mm, half_height_mm


SLIDE: Task[SlideSettings, SlideState] = Task(
    name="slide",
    settings_type=SlideSettings,
    start=start,
    advance=advance,
    view=view,
    mirror=mirror,
    finished=finished,
    event_kinds=frozenset(["cue", "touch", "grab", "lost", "regained", "pass", "extra", "end"]),
)
