"""What goes into a task and what comes out of it: the one agreement every task keeps.

A task is four pure functions over frozen values::

    start(settings) -> state
    advance(settings, state, signal) -> (state, events)
    view(settings, state, t_ns) -> marks
    mirror(settings) -> settings

There is no clock, no window and no random source in it. Time comes only from the stamps of
the signals, so the outcome of a block does not depend on how often the screen was drawn:
whatever falls due between two signals happens at the moment it was due, not at the moment
somebody looked. A block can therefore be replayed from its recorded contacts alone.

Frame of reference: millimetres on the glass, origin at the centre of the screen, x to the
right, y up (away from the person). Time: integer nanoseconds from the start of the block.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeVar

from tasks.plain import may_be_missing, to_plain

NS_PER_S = 1_000_000_000
NS_PER_MS = 1_000_000

ContactKind = Literal["hover", "down", "move", "up"]
CONTACT_KINDS: tuple[ContactKind, ...] = ("hover", "down", "move", "up")


@dataclass(frozen=True, slots=True)
class Contact:
    """One pointer report.

    Parameters
    ----------
    t_ns : int
        When it was read, nanoseconds from the start of the block.
    kind : {"hover", "down", "move", "up"}
        `hover` is motion without contact (mouse, hovering pen); `move` is motion in contact.
    x_mm, y_mm : float
        Position on the glass.
    pointer : int
        0 for a mouse or pen; 1, 2, ... for fingers in the order in which they came.
    """

    t_ns: int
    kind: ContactKind
    x_mm: float
    y_mm: float
    pointer: int = 0


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has reached `t_ns` and nothing else happened."""

    t_ns: int


Signal = Contact | Tick


@dataclass(frozen=True, slots=True)
class Event:
    """Something the task decided, at the moment it was due.

    Parameters
    ----------
    t_ns : int
        When it happened: the due time or the stamp of the contact that caused it. For
        something shown (`cue`, `go`) this is when it was due; when it was on the screen is
        read from the frames of the record.
    kind : str
        One of the task's `event_kinds`.
    trial : int
        Number of the trial from 0, or -1 outside any trial.
    label : str
        What the event concerns: a side, a node's label, a part of the block.
    x_mm, y_mm, r_mm : float
        Place and radius it concerns (a target, a node, a contact); nan where there is none.
    """

    t_ns: int
    kind: str
    trial: int = -1
    label: str = ""
    x_mm: float = math.nan
    y_mm: float = math.nan
    r_mm: float = math.nan


Role = Literal[
    "idle",  # there, not to be used now
    "target",  # look here; do not act yet
    "go",  # act here now
    "home",  # hold here
    "held",  # being held or followed now
    "done",  # finished
    "wrong",  # captured out of order
    "chip",  # the thing that is dragged
    "track",  # the way it goes
]


@dataclass(frozen=True, slots=True)
class Disc:
    """A filled disc or, with `filled` false, a ring; `label` is drawn upright inside it."""

    x_mm: float
    y_mm: float
    r_mm: float
    role: Role
    label: str = ""
    filled: bool = True


@dataclass(frozen=True, slots=True)
class Line:
    """An open polyline of stated width."""

    points_mm: tuple[tuple[float, float], ...]
    width_mm: float
    role: Role


Mark = Disc | Line

SettingsT = TypeVar("SettingsT")
StateT = TypeVar("StateT")


@dataclass(frozen=True, slots=True)
class Task(Generic[SettingsT, StateT]):
    """A task as the rest of the program sees it.

    Parameters
    ----------
    name : str
        One plain word, the key in the registry and in every record.
    settings_type : type
        Frozen dataclass that holds everything the task needs: geometry, times, labels.
    start, advance, view, mirror : callable
        See the module's docstring.
    finished : callable
        Whether a state is final; a final state absorbs every further signal without events.
    event_kinds : frozenset of str
        The vocabulary of the task.
    tones : frozenset of str
        Event kinds that sound a tone when they happen.
    version : int
        Of its rules. Raised when the same settings and contacts give another outcome; the rules
        before then go to `tasks.registry.EARLIER` for as long as records of them exist.
    """

    name: str
    settings_type: type[SettingsT]
    start: Callable[[SettingsT], StateT]
    advance: Callable[[SettingsT, StateT, Signal], tuple[StateT, tuple[Event, ...]]]
    view: Callable[[SettingsT, StateT, int], tuple[Mark, ...]]
    mirror: Callable[[SettingsT], SettingsT]
    finished: Callable[[StateT], bool]
    event_kinds: frozenset[str]
    tones: frozenset[str] = frozenset()
    version: int = 1


AnyTask = Task[Any, Any]

_SIDES = {"left": "right", "right": "left"}


def mirror_label(label: str) -> str:
    """Exchange left and right in a label; any other label stays as it is."""
    return _SIDES.get(label, label)


def mirror_event(event: Event) -> Event:
    """Return the event as it would be in the left-right mirrored block."""
    return dataclasses.replace(event, x_mm=-event.x_mm, label=mirror_label(event.label))


def mirror_contact(contact: Contact) -> Contact:
    """Return the contact as it would be in the left-right mirrored block."""
    return dataclasses.replace(contact, x_mm=-contact.x_mm)


def distance_mm(ax_mm: float, ay_mm: float, bx_mm: float, by_mm: float) -> float:
    """Euclidean distance between two points, in millimetres."""
    return math.hypot(ax_mm - bx_mm, ay_mm - by_mm)


def settings_to_dict(settings: Any) -> dict[str, Any]:
    """Turn settings into plain values that JSON can hold without loss.

    A field that came later (`tasks.plain.later`) is left out while it has its default. JSON
    makes lists of tuples; `settings_from_dict` turns them back.
    """
    return dict(to_plain(settings))


def settings_from_dict(settings_type: type[SettingsT], values: Mapping[str, Any]) -> SettingsT:
    """Rebuild settings from what `settings_to_dict` gave, after any trip through JSON.

    A field that came later than the record has its default.

    Raises
    ------
    ValueError
        If a field is missing or unknown.
    """
    hints, needed = _fields_of(typing.cast("Any", settings_type))
    if not needed <= values.keys() <= hints.keys():
        missing, unknown = sorted(needed - set(values)), sorted(set(values) - set(hints))
        msg = f"{settings_type.__name__}: {missing=} {unknown=}"
        raise ValueError(msg)
    return settings_type(**{name: hints[name](value) for name, value in values.items()})


@functools.cache
def _fields_of(
    settings_type: Any,
) -> tuple[dict[str, Callable[[Any], Any]], frozenset[str]]:
    """Return what gives each field of settings its type, and which a record must have."""
    hints = typing.get_type_hints(settings_type)
    fields = dataclasses.fields(settings_type)
    needed = frozenset(field.name for field in fields if not may_be_missing(field))
    return {field.name: _reviver(hints[field.name]) for field in fields}, needed


def unknown_settings(task: AnyTask, values: Mapping[str, Any]) -> list[str]:
    """Name the settings of a record that this program's task does not have."""
    return sorted(
        set(values) - {field.name for field in dataclasses.fields(task.settings_type)}
    )


@functools.cache
def _reviver(hint: Any) -> Callable[[Any], Any]:
    """Return what gives a value the type `hint` asks for; only the types that settings use."""
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is tuple and arguments[1:] == (Ellipsis,):
        item = _reviver(arguments[0])
        return tuple if item is _as_it_is else lambda value: tuple(map(item, value))
    if origin is tuple and set(arguments) == {float}:
        return functools.partial(_floats, len(arguments))
    if origin is tuple:
        items = [_reviver(argument) for argument in arguments]
        return lambda value: tuple(
            revive(inner) for revive, inner in zip(items, value, strict=True)
        )
    if origin in (types.UnionType, typing.Union):
        some = _reviver(arguments[0])
        return lambda value: None if value is None else some(value)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return functools.partial(settings_from_dict, hint)
    return float if hint is float else _as_it_is


def _floats(n: int, values: Any) -> tuple[float, ...]:
    made = tuple(map(float, values))
    if len(made) != n:
        msg = f"{len(made)} numbers, not {n}"
        raise ValueError(msg)
    return made


def _as_it_is(value: Any) -> Any:
    return value
