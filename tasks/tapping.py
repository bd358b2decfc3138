"""Target tapping with alternating saccade targets.

Hold the home pad; the next target appears on the other side (the eyes jump, the hand waits);
after a foreperiod comes the go cue; lift, touch the target, return home. In the self-paced
form without a home pad the targets alternate and the person touches a place of their own in
between, which is not observed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import Enum

from tasks.contract import NS_PER_S, Contact, Disc, Event, Mark, Role, Signal, Task, distance_mm
from tasks.following import Pointers, heed
from tasks.plain import later


@dataclass(frozen=True, slots=True)
class TappingSettings:
    """Everything a tapping block is made of; lengths in mm, times in s.

    Parameters
    ----------
    home_x_mm, home_y_mm, home_r_mm : float
        The home pad.
    targets_mm : tuple of (float, float)
        Centre of the target of each trial; more than can be done in the time.
    foreperiods_s : tuple of float
        From the moment the target appears to the go cue, one per trial.
    target_r_mm : float
    duration_s : float
        The block ends then, in whatever trial it is, if `min_trials` are over.
    answer_limit_s : float
        From the go cue; after it the trial counts as not answered.
    bounce_s : float
        A finger that is back sooner than this after a lift (from home; in the self-paced form
        from the last target) has bounced.
    home_pad : bool
        False gives the self-paced form.
    min_trials : int
        So many trials are done, answered or not, however long they take: the block goes on
        until the last of them is over.
    limit_s : float
        Then it ends all the same; below `duration_s` it has no effect.
    """

    home_x_mm: float
    home_y_mm: float
    home_r_mm: float
    targets_mm: tuple[tuple[float, float], ...]
    foreperiods_s: tuple[float, ...]
    target_r_mm: float
    duration_s: float = 60.0
    answer_limit_s: float = 10.0
    bounce_s: float = 0.08
    home_pad: bool = True
    min_trials: int = later(0)
    limit_s: float = later(0.0)


class Phase(Enum):
    """Where the block stands."""

    HOMEWARD = "homeward"  # home is shown; waiting for a press on it
    HOLDING = "holding"  # home held, target shown, waiting for go
    SLIPPED = "slipped"  # home let go before go; a bounce, or an early lift
    READY = "ready"  # go is shown; waiting for the lift
    REACHING = "reaching"  # lifted; waiting for the touch
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class TappingState:
    """State of a tapping block; times in ns, -1 where there is none."""

    phase: Phase
    trial: int = 0
    pointers: Pointers = field(default=Pointers())
    go_ns: int = -1
    lift_ns: int = -1
    asked: bool = False  # whether the cue of this trial was given


def _ns(seconds: float) -> int:
    return round(seconds * NS_PER_S)


def start(settings: TappingSettings) -> TappingState:
    """Return the state before the first signal."""
    return TappingState(Phase.HOMEWARD if settings.home_pad else Phase.REACHING)


def finished(state: TappingState) -> bool:
    """Whether the block is over."""
    return state.phase is Phase.FINISHED


def advance(
    settings: TappingSettings, state: TappingState, signal: Signal
) -> tuple[TappingState, tuple[Event, ...]]:
    """Return the state after `signal` and what was decided on the way."""
    events: list[Event] = []
    if not settings.home_pad and not state.asked and state.phase is not Phase.FINISHED:
        state = replace(state, asked=True, go_ns=0)
        events.append(_target_event(settings, state, 0, "cue"))
    while (due_ns := _due_ns(settings, state)) is not None and due_ns <= signal.t_ns:
        state = _fall_due(settings, state, due_ns, events)
    if state.phase is not Phase.FINISHED and isinstance(signal, Contact):
        state = _on_contact(settings, state, signal, events)
    return state, tuple(events)


def _due_ns(settings: TappingSettings, state: TappingState) -> int | None:
    """When the next thing happens without any contact; None when nothing is due any more."""
    if state.phase is Phase.FINISHED:
        return None
    due_ns = _end_ns(settings, state)
    if state.phase is Phase.HOLDING:
        due_ns = min(due_ns, state.go_ns)
    elif state.phase is Phase.SLIPPED:
        due_ns = min(due_ns, state.lift_ns + _ns(settings.bounce_s))
    elif state.phase in (Phase.READY, Phase.REACHING):
        due_ns = min(due_ns, state.go_ns + _ns(settings.answer_limit_s))
    return due_ns


def _end_ns(settings: TappingSettings, state: TappingState) -> int:
    """When the block ends as things stand; trials are counted from 0."""
    enough = state.trial >= settings.min_trials
    return _ns(settings.duration_s if enough else max(settings.duration_s, settings.limit_s))


def _fall_due(
    settings: TappingSettings, state: TappingState, due_ns: int, events: list[Event]
) -> TappingState:
    if due_ns >= _end_ns(settings, state):
        events.append(Event(due_ns, "end"))
        return replace(state, phase=Phase.FINISHED)
    if state.phase is Phase.HOLDING:
        events.append(_target_event(settings, state, due_ns, "go"))
        return replace(state, phase=Phase.READY)
    if state.phase is Phase.SLIPPED:
        events.append(Event(due_ns, "early", state.trial, _side(settings, state.trial)))
        return replace(state, phase=Phase.HOMEWARD)
    events.append(_target_event(settings, state, due_ns, "no_answer"))
    return _next_trial(settings, state, due_ns, events)


def _on_contact(
    settings: TappingSettings, state: TappingState, contact: Contact, events: list[Event]
) -> TappingState:
    pointers, meaning = heed(state.pointers, contact, state.trial, events)
    if pointers is not state.pointers:
        state = replace(state, pointers=pointers)
    if meaning == "press":
        return _on_press(settings, state, contact, events)
    if meaning == "lift":
        return _on_lift(settings, state, contact, events)
    return state


def _on_press(
    settings: TappingSettings, state: TappingState, contact: Contact, events: list[Event]
) -> TappingState:
    t_ns, trial = contact.t_ns, state.trial
    following = state.pointers.follow(contact)
    at_home = settings.home_pad and (
        distance_mm(contact.x_mm, contact.y_mm, settings.home_x_mm, settings.home_y_mm)
        <= settings.home_r_mm
    )
    place = ("", contact.x_mm, contact.y_mm)
    if state.phase is Phase.HOMEWARD and at_home:
        events.append(Event(t_ns, "hold", trial, *place))
        events.append(_target_event(settings, state, t_ns, "cue"))
        go_ns = t_ns + _ns(settings.foreperiods_s[trial])
        return replace(state, phase=Phase.HOLDING, pointers=following, go_ns=go_ns, lift_ns=-1)
    if state.phase is Phase.SLIPPED:
        if at_home:
            events.append(Event(t_ns, "bounce", trial, *place))
            go_ns = max(state.go_ns, t_ns)
            return replace(state, phase=Phase.HOLDING, pointers=following, go_ns=go_ns)
        events.append(Event(t_ns, "early", trial, _side(settings, trial)))
        return replace(state, phase=Phase.HOMEWARD)
    if state.phase is Phase.REACHING:
        back = state.lift_ns >= 0 and t_ns - state.lift_ns < _ns(settings.bounce_s)
        if back and (at_home or not settings.home_pad):
            events.append(Event(t_ns, "bounce", trial, *place))
            phase = Phase.READY if settings.home_pad else Phase.REACHING
            return replace(state, phase=phase, pointers=following)
        x_mm, y_mm = settings.targets_mm[trial]
        hit = distance_mm(contact.x_mm, contact.y_mm, x_mm, y_mm) <= settings.target_r_mm
        label = "hit" if hit else "miss"
        events.append(Event(t_ns, "touch", trial, label, contact.x_mm, contact.y_mm, 0.0))
        return _next_trial(settings, replace(state, pointers=following), t_ns, events)
    return state


def _on_lift(
    settings: TappingSettings, state: TappingState, contact: Contact, events: list[Event]
) -> TappingState:
    if state.phase is Phase.HOLDING:
        return replace(state, phase=Phase.SLIPPED, lift_ns=contact.t_ns)
    if state.phase is Phase.READY or (state.phase is Phase.REACHING and not settings.home_pad):
        events.append(Event(contact.t_ns, "lift", state.trial, "", contact.x_mm, contact.y_mm))
        return replace(state, phase=Phase.REACHING, lift_ns=contact.t_ns)
    return state


def _next_trial(
    settings: TappingSettings, state: TappingState, t_ns: int, events: list[Event]
) -> TappingState:
    trial = state.trial + 1
    over = t_ns >= _end_ns(settings, replace(state, trial=trial))
    if over or trial >= len(settings.targets_mm):
        events.append(Event(t_ns, "end"))
        return replace(state, phase=Phase.FINISHED)
    if settings.home_pad:
        return TappingState(Phase.HOMEWARD, trial, state.pointers.free())
    asking = TappingState(Phase.REACHING, trial, state.pointers, t_ns, -1, asked=True)
    events.append(_target_event(settings, asking, t_ns, "cue"))
    return asking


def _side(settings: TappingSettings, trial: int) -> str:
    x_mm = settings.targets_mm[trial][0]
    return "left" if x_mm < 0 else "right" if x_mm > 0 else "middle"


def _target_event(
    settings: TappingSettings, state: TappingState, t_ns: int, kind: str
) -> Event:
    x_mm, y_mm = settings.targets_mm[state.trial]
    side = _side(settings, state.trial)
    return Event(t_ns, kind, state.trial, side, x_mm, y_mm, settings.target_r_mm)


def view(settings: TappingSettings, state: TappingState, t_ns: int) -> tuple[Mark, ...]:
    """List what is to be seen: home, and the target once home is held."""
    del t_ns
    if state.phase is Phase.FINISHED:
        return ()
    marks: list[Mark] = []
    if settings.home_pad:
        held = state.phase in (Phase.HOLDING, Phase.SLIPPED)
        role: Role = "home" if state.phase is Phase.HOMEWARD else "held" if held else "idle"
        marks.append(Disc(settings.home_x_mm, settings.home_y_mm, settings.home_r_mm, role))
    if state.phase is not Phase.HOMEWARD:
        x_mm, y_mm = settings.targets_mm[state.trial]
        go = state.phase in (Phase.READY, Phase.REACHING)
        marks.append(
            Disc(x_mm, y_mm, settings.target_r_mm, "go" if go else "target", filled=go)
        )
    return tuple(marks)


def mirror(settings: TappingSettings) -> TappingSettings:
    """Exchange left and right."""
    return replace(
        settings,
        home_x_mm=-settings.home_x_mm,
        targets_mm=tuple((-x_mm, y_mm) for x_mm, y_mm in settings.targets_mm),
    )


def extent_mm(settings: TappingSettings) -> tuple[float, float]:
    """Half width and half height of everything drawn, mm."""
    r_mm = settings.target_r_mm
    xs = [abs(x) + r_mm for x, _ in settings.targets_mm]
    ys = [abs(y) + r_mm for _, y in settings.targets_mm]
    if settings.home_pad:
        xs.append(abs(settings.home_x_mm) + settings.home_r_mm)
        ys.append(abs(settings.home_y_mm) + settings.home_r_mm)
    return max(xs, default=math.nan), max(ys, default=math.nan)


TAPPING: Task[TappingSettings, TappingState] = Task(
    name="tapping",
    settings_type=TappingSettings,
    start=start,
    advance=advance,
    view=view,
    mirror=mirror,
    finished=finished,
    event_kinds=frozenset(
        ["cue", "hold", "go", "bounce", "early", "lift", "touch", "no_answer", "extra", "end"]
    ),
    tones=frozenset({"go"}),
)
