"""Trail connection: drag the chip from node to node in order, one short trail after another.

A node is captured when the chip has entered it and stayed for the dwell time. A captured wrong
node is an error and the clock runs on. A wrong node left before the dwell was over is a slip,
not an error. The next node is never lit: finding it is the task.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

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

REGRAB_MM = 5.0  # a chip that was let go may be taken up this far outside its rim


@dataclass(frozen=True, slots=True)
class TrailForm:
    """One trail.

    Parameters
    ----------
    kind : {"numbers", "alternating", "pairs"}
    nodes_mm : tuple of (float, float)
        Centres in the order in which they are to be connected.
    labels : tuple of str
        In the same order.
    """

    kind: str
    nodes_mm: tuple[tuple[float, float], ...]
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrailSettings:
    """Everything a trail block is made of; lengths in mm, times in s."""

    forms: tuple[TrailForm, ...]
    node_r_mm: float
    dwell_s: float = 0.15
    limit_s: float = 180.0


@dataclass(frozen=True, slots=True)
class TrailState:
    """State of a trail block.

    Parameters
    ----------
    form : int
        The trail in hand; equal to the number of forms when all are done.
    captured : int
        Nodes captured in it; 1 once the chip was taken up.
    inside : int
        Node the pointer is in, -1 for none; `entered_ns` since when.
    judged : bool
        Whether the stay in `inside` was already captured or counted.
    """

    form: int = 0
    captured: int = 0
    pointers: Pointers = field(default=Pointers())
    holding: bool = False
    released: bool = False
    inside: int = -1
    entered_ns: int = -1
    judged: bool = False
    x_mm: float = 0.0
    y_mm: float = 0.0
    asked: bool = False
    over: bool = False


def start(settings: TrailSettings) -> TrailState:
    """Return the state before the first signal."""
    del settings
    return TrailState()


def finished(state: TrailState) -> bool:
    """Whether the block is over."""
    return state.over


def first_link(settings: TrailSettings, form: int) -> int:
    """Return the running number of a form's first link in the block."""
    return sum(len(f.nodes_mm) - 1 for f in settings.forms[:form])


def advance(
    settings: TrailSettings, state: TrailState, signal: Signal
) -> tuple[TrailState, tuple[Event, ...]]:
    """Return the state after `signal` and what was decided on the way."""
    if state.over:
        return state, ()
    events: list[Event] = []
    if not state.asked:
        state = replace(state, asked=True)
        events.append(_form_event(settings, 0, 0, "form"))
    while not state.over and (due_ns := _due_ns(settings, state)) <= signal.t_ns:
        state = _fall_due(settings, state, due_ns, events)
    if not state.over and isinstance(signal, Contact):
        state = _on_contact(settings, state, signal, events)
    return state, tuple(events)


def _due_ns(settings: TrailSettings, state: TrailState) -> int:
    due_ns = round(settings.limit_s * NS_PER_S)
    if state.inside >= state.captured > 0 and not state.judged:
        due_ns = min(due_ns, state.entered_ns + round(settings.dwell_s * NS_PER_S))
    return due_ns


def _fall_due(
    settings: TrailSettings, state: TrailState, due_ns: int, events: list[Event]
) -> TrailState:
    if due_ns >= round(settings.limit_s * NS_PER_S):
        events += [Event(due_ns, "limit"), Event(due_ns, "end")]
        return replace(state, over=True)
    if state.inside != state.captured:
        events.append(_node_event(settings, state, due_ns, "error"))
        return replace(state, judged=True)
    events.append(_node_event(settings, state, due_ns, "capture"))
    state = replace(state, captured=state.captured + 1, judged=True)
    if state.captured < len(settings.forms[state.form].nodes_mm):
        return state
    events.append(_form_event(settings, state.form, due_ns, "form_done"))
    if state.form + 1 == len(settings.forms):
        events.append(Event(due_ns, "end"))
        return replace(state, over=True)
    events.append(_form_event(settings, state.form + 1, due_ns, "form"))
    return TrailState(form=state.form + 1, pointers=state.pointers, asked=True)


def _link(settings: TrailSettings, state: TrailState) -> int:
    """Return the running number of the link being made."""
    return first_link(settings, state.form) + max(state.captured - 1, 0)


def _form_event(settings: TrailSettings, form: int, t_ns: int, kind: str) -> Event:
    return Event(t_ns, kind, form, settings.forms[form].kind)


def _node_event(settings: TrailSettings, state: TrailState, t_ns: int, kind: str) -> Event:
    form = settings.forms[state.form]
    x_mm, y_mm = form.nodes_mm[state.inside]
    label = form.labels[state.inside]
    return Event(t_ns, kind, _link(settings, state), label, x_mm, y_mm, settings.node_r_mm)


def _on_contact(
    settings: TrailSettings, state: TrailState, contact: Contact, events: list[Event]
) -> TrailState:
    link = _link(settings, state)
    pointers, meaning = heed(state.pointers, contact, link, events)
    if pointers is not state.pointers:
        state = replace(state, pointers=pointers)
    place = ("", contact.x_mm, contact.y_mm)
    if meaning == "press":
        if not _may_take_up(settings, state, contact):
            return state
        events.append(
            Event(contact.t_ns, "regained" if state.captured else "grab", link, *place)
        )
        if state.captured == 0:
            state = replace(state, captured=1)
        state = replace(state, pointers=pointers.follow(contact), holding=True)
        return _moved(settings, state, contact, events)
    if meaning == "drag" and state.holding:
        return _moved(settings, state, contact, events)
    if meaning == "lift" and state.holding:
        state = _left(settings, state, contact.t_ns, events)
        events.append(Event(contact.t_ns, "lost", link, *place))
        return replace(state, holding=False, x_mm=contact.x_mm, y_mm=contact.y_mm)
    return state


def _may_take_up(settings: TrailSettings, state: TrailState, contact: Contact) -> bool:
    nodes_mm = settings.forms[state.form].nodes_mm
    reach_mm = settings.node_r_mm + REGRAB_MM
    places_mm = [nodes_mm[max(state.captured - 1, 0)]]
    if state.captured:
        places_mm.append((state.x_mm, state.y_mm))
    return any(
        distance_mm(contact.x_mm, contact.y_mm, x_mm, y_mm) <= reach_mm
        for x_mm, y_mm in places_mm
    )


def _moved(
    settings: TrailSettings, state: TrailState, contact: Contact, events: list[Event]
) -> TrailState:
    """Follow the pointer: leaving and entering nodes, and the release from the first."""
    state = replace(state, x_mm=contact.x_mm, y_mm=contact.y_mm)
    node = _node_at(settings, state.form, contact)
    if not state.released and (node > 0 or (node < 0 and _set_off(settings, state))):
        events.append(
            Event(
                contact.t_ns, "release", _link(settings, state), "", contact.x_mm, contact.y_mm
            )
        )
        state = replace(state, released=True)
    if node == state.inside:
        return state
    state = _left(settings, state, contact.t_ns, events)
    return replace(state, inside=node, entered_ns=contact.t_ns, judged=False)


def _set_off(settings: TrailSettings, state: TrailState) -> bool:
    """Whether a pointer outside every node has left the first one or the ring around it.

    The chip may be taken up in that ring; this alone starts no clock.
    """
    x_mm, y_mm = settings.forms[state.form].nodes_mm[0]
    off_mm = distance_mm(state.x_mm, state.y_mm, x_mm, y_mm)
    return state.inside == 0 or off_mm > settings.node_r_mm + REGRAB_MM


def _left(
    settings: TrailSettings, state: TrailState, t_ns: int, events: list[Event]
) -> TrailState:
    """Leave the node the pointer was in; a wrong one left early is a slip."""
    if state.inside > state.captured and not state.judged:
        events.append(_node_event(settings, state, t_ns, "slip"))
    return replace(state, inside=-1, judged=False)


def _node_at(settings: TrailSettings, form: int, contact: Contact) -> int:
    for index, (x_mm, y_mm) in enumerate(settings.forms[form].nodes_mm):
        if distance_mm(contact.x_mm, contact.y_mm, x_mm, y_mm) <= settings.node_r_mm:
            return index
    return -1


def view(settings: TrailSettings, state: TrailState, t_ns: int) -> tuple[Mark, ...]:
    """List what is to be seen: links made, nodes with their labels, the chip."""
    del t_ns
    if state.over:
        return ()
    form = settings.forms[state.form]
    marks: list[Mark] = []
    if state.captured > 1:
        marks.append(Line(form.nodes_mm[: state.captured], 1.0, "track"))
    for index, ((x_mm, y_mm), label) in enumerate(zip(form.nodes_mm, form.labels, strict=True)):
        wrong = index == state.inside > state.captured and state.judged
        role: Role = "wrong" if wrong else "done" if index < state.captured else "target"
        if index == 0 and state.captured == 0:
            role = "go"
        filled = role in ("done", "go", "wrong")
        marks.append(Disc(x_mm, y_mm, settings.node_r_mm, role, label, filled))
    if state.captured:
        held: Role = "held" if state.holding else "chip"
        marks.append(Disc(state.x_mm, state.y_mm, settings.node_r_mm * 0.5, held))
    return tuple(marks)


def mirror(settings: TrailSettings) -> TrailSettings:
    """Exchange left and right."""
    return replace(
        settings,
        forms=tuple(
            replace(form, nodes_mm=tuple((-x_mm, y_mm) for x_mm, y_mm in form.nodes_mm))
            for form in settings.forms
        ),
    )


def extent_mm(settings: TrailSettings) -> tuple[float, float]:
    """Half width and half height of everything drawn, mm."""
    nodes_mm = [node for form in settings.forms for node in form.nodes_mm]
    return (
        max(abs(x_mm) for x_mm, _ in nodes_mm) + settings.node_r_mm,
        max(abs(y_mm) for _, y_mm in nodes_mm) + settings.node_r_mm,
    )


TRAIL: Task[TrailSettings, TrailState] = Task(
    name="trail",
    settings_type=TrailSettings,
    start=start,
    advance=advance,
    view=view,
    mirror=mirror,
    finished=finished,
    event_kinds=frozenset(
        {
            *("form", "grab", "release", "capture", "error", "slip"),
            *("lost", "regained", "form_done", "extra", "limit", "end"),
        }
    ),
)
