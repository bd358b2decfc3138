"""Plans: which tasks, in which order, with which settings. Named, hashed, never edited in use.

Two visits are compared only when their plans have the same hash. The hash covers everything
but the name.
"""

from __future__ import annotations

import dataclasses
import json
import random
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, cast

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from battery import forms
from battery.errors import PlanError
from battery.recording import Hand, Phase, Screen, short_hash
from tasks.contract import settings_to_dict
from tasks.registry import OPTIONS, TASKS, extent_mm, make_settings

EDGE_MARGIN_MM = 15.0
SEED_LIMIT = 2**31
LAYOUT_TRIES = 200
MAX_PLAN_BYTES = 100_000
MAX_TASKS = 100
MIN_OPTION = 0.01  # mm or s


class PlannedTask(BaseModel):
    """A task of a plan; `options` and `practice` override the task's own defaults."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    task: str
    options: dict[str, Any] = Field(default_factory=dict)
    practice: dict[str, Any] = Field(default_factory=dict)


class Plan(BaseModel):
    """What is done in a visit.

    Parameters
    ----------
    name : str
        What people call it; not part of the hash.
    tasks : tuple of PlannedTask
        In order; each is done with every hand before the next task begins.
    hands : {"both", "left", "right"}
        With `both`, the person's first hand goes first, always.
    rest_s : float
        Least rest between two blocks, seconds.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(pattern=r"^[a-z][a-z0-9_-]{0,30}$")
    tasks: Annotated[tuple[PlannedTask, ...], Field(min_length=1, max_length=MAX_TASKS)]
    hands: Literal["both", "left", "right"] = "both"
    rest_s: float = Field(default=30.0, ge=0, le=600, strict=True)


@dataclass(frozen=True, slots=True)
class PlannedBlock:
    """One block to be done: a task, a hand, practice or test, and the task's options."""

    task: str
    hand: Hand
    phase: Phase
    options: Any

    def settings(self, seed: int) -> Any:
        """Return the task's settings for the layout drawn from `seed`."""
        return make_settings(self.task, self.options, seed, hand=self.hand)


STANDARD = Plan(
    name="standard",
    tasks=(
        PlannedTask(
            task="tapping",
            options={"min_trials": 20, "limit_s": 150.0},
            practice={"duration_s": 20.0, "min_trials": 0},
        ),
        PlannedTask(task="slide", practice={"duration_s": 20.0}),
        PlannedTask(task="pursuit", practice={"predictable_s": 8.0, "unpredictable_s": 0.0}),
        PlannedTask(task="trail", practice={"kinds": ("numbers",), "n_nodes": 5}),
    ),
    rest_s=30.0,
)
SHORT = Plan(
    name="short",
    tasks=(
        PlannedTask(
            task="tapping",
            options={"duration_s": 30.0, "min_trials": 15, "limit_s": 90.0},
            practice={"duration_s": 10.0, "min_trials": 0},
        ),
        PlannedTask(task="slide", options={"duration_s": 20.0}, practice={"duration_s": 10.0}),
        PlannedTask(
            task="pursuit",
            options={"predictable_s": 12.0, "unpredictable_s": 0.0},
            practice={"predictable_s": 4.0, "unpredictable_s": 0.0},
        ),
        PlannedTask(
            task="trail",
            options={"kinds": ("numbers", "alternating")},
            practice={"kinds": ("numbers",), "n_nodes": 5},
        ),
    ),
    rest_s=5.0,
)
# For who does not read the Latin alphabet, or has lost letters: four trails of numbers.
NUMBERS = STANDARD.model_copy(
    update={
        "name": "numbers",
        "tasks": (
            *STANDARD.tasks[:-1],
            PlannedTask(
                task="trail",
                options={"kinds": ("numbers",) * 4},
                practice={"kinds": ("numbers",), "n_nodes": 5},
            ),
        ),
    }
)
PLANS: Mapping[str, Plan] = {plan.name: plan for plan in (STANDARD, NUMBERS, SHORT)}


def load_plan(name_or_path: str) -> Plan:
    """Return a plan of this program by name, or read one from a TOML file.

    Raises
    ------
    PlanError
        If there is no such plan or file, or it asks for something no task can do.
    """
    if name_or_path in PLANS:
        return PLANS[name_or_path]
    path = Path(name_or_path)
    known = ", ".join(PLANS)
    try:
        is_there = path.is_file()
    except (OSError, ValueError):  # no name that a file can have
        is_there = False
    if not is_there:
        msg = f"no plan {name_or_path[:200]!r}: name {known}, or the path of a plan file"
        raise PlanError(msg)
    try:
        if path.stat().st_size > MAX_PLAN_BYTES:
            msg = f"plan file {name_or_path!r} has more than {MAX_PLAN_BYTES} bytes; not read"
            raise PlanError(msg)
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        plan = Plan.model_validate(told)
    except (OSError, ValueError, RecursionError) as error:
        if isinstance(error, PlanError):
            raise
        why = forms.told(error) if isinstance(error, ValidationError) else _one_line(error)
        msg = f"plan file {name_or_path!r} cannot be read: {why}"
        raise PlanError(msg) from error
    if plan.name in PLANS:
        msg = f"plan file {name_or_path!r}: the name {plan.name!r} is taken; choose another"
        raise PlanError(msg)
    planned_blocks(plan, "right")
    return plan


def _one_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:200]


def plan_hash(plan: Plan) -> str:
    """Hash of everything in the plan but its name, with every option spelled out."""
    content = {
        "hands": plan.hands,
        "rest_s": plan.rest_s,
        "blocks": [
            [b.task, b.phase, settings_to_dict(b.options)]
            for b in planned_blocks(plan, "right")
        ],
    }
    return short_hash(content)


def plan_of_text(text: str) -> Plan:
    """Return a plan that was stored.

    Raises
    ------
    PlanError
        If this program cannot do it: it is of a later one, or damaged.
    """
    try:
        plan = Plan.model_validate(json.loads(text))
        planned_blocks(plan, "right")
    except (ValueError, RecursionError, PlanError) as error:
        why = forms.told(error) if isinstance(error, ValidationError) else _one_line(error)
        msg = f"a stored plan cannot be done by this program: {why}. Update it; nothing is lost"
        raise PlanError(msg) from error
    return plan


def told_hash(told: Any) -> str | None:
    """Return the hash of a plan that somebody else wrote; None if it is of a later program.

    Raises
    ------
    ValueError
        If it is no plan.
    """
    forms.bounded({"plan": told})
    try:
        plan = Plan.model_validate(told)
    except ValidationError as error:
        if all(one["type"] == "extra_forbidden" for one in error.errors()):
            return None
        raise ValueError(forms.told(error, "plan")) from error
    if any(_says_more(planned) for planned in plan.tasks):
        return None
    return plan_hash(plan)


def _says_more(planned: PlannedTask) -> bool:
    if planned.task not in OPTIONS:
        return True
    known = {field.name for field in dataclasses.fields(OPTIONS[planned.task])}
    return bool((set(planned.options) | set(planned.practice)) - known)


def planned_blocks(plan: Plan, first_hand: Hand) -> tuple[PlannedBlock, ...]:
    """List the blocks of a visit in order: practice, then test, task by task, hand by hand."""
    other: Hand = "left" if first_hand == "right" else "right"
    hands: tuple[Hand, ...] = (first_hand, other) if plan.hands == "both" else (plan.hands,)
    blocks: list[PlannedBlock] = []
    for planned in plan.tasks:
        test = _options(plan, planned.task, planned.options)
        practice = _options(plan, planned.task, {**planned.options, **planned.practice})
        for hand in hands:
            blocks.append(PlannedBlock(planned.task, hand, "practice", practice))
            blocks.append(PlannedBlock(planned.task, hand, "test", test))
    return tuple(blocks)


def fresh_seed(
    block: PlannedBlock, used_hashes: Collection[str], random_source: random.Random
) -> tuple[int, Any, str]:
    """Draw a layout this person has not met.

    Returns
    -------
    seed : int
    settings : the task's settings
    layout_hash : str
        Of the settings; add it to the used ones.

    Raises
    ------
    PlanError
        If none was found: the task has too few layouts.
    """
    for _ in range(LAYOUT_TRIES):
        seed = random_source.randrange(SEED_LIMIT)
        settings = block.settings(seed)
        layout_hash = short_hash(settings_to_dict(settings))
        if layout_hash not in used_hashes:
            return seed, settings, layout_hash
    msg = (
        f"no layout of {block.task} left that this person has not met, in {LAYOUT_TRIES} draws"
    )
    raise PlanError(msg)


def check_fits(plan: Plan, screen: Screen) -> None:
    """Refuse a plan whose layouts do not fit the screen with its margin.

    Raises
    ------
    PlanError
        With both sizes in mm.
    """
    for block in planned_blocks(plan, "right"):
        half_width_mm, half_height_mm = extent_mm(block.settings(seed=1))
        need_mm = (2 * half_width_mm, 2 * half_height_mm)
        room_mm = (screen.width_mm - 2 * EDGE_MARGIN_MM, screen.height_mm - 2 * EDGE_MARGIN_MM)
        if need_mm[0] > room_mm[0] or need_mm[1] > room_mm[1]:
            msg = (
                f"plan {plan.name!r}: {block.task} needs "
                f"{need_mm[0]:.0f} x {need_mm[1]:.0f} mm and the screen leaves "
                f"{room_mm[0]:.0f} x {room_mm[1]:.0f} mm inside its margin; "
                "use a larger screen or window, or measure it with 'battery screen'"
            )
            raise PlanError(msg)


def _options(plan: Plan, task: str, values: Mapping[str, Any]) -> Any:
    if task not in TASKS:
        msg = f"plan {plan.name!r}: no task {task!r}; tasks are {', '.join(TASKS)}"
        raise PlanError(msg)
    options_type = OPTIONS[task]
    known = {field.name for field in dataclasses.fields(options_type)}
    unknown = sorted(set(values) - known)
    if unknown:
        msg = (
            f"plan {plan.name!r}: {task} has no option {unknown[0]!r}; "
            f"it has {', '.join(sorted(known))}"
        )
        raise PlanError(msg)
    plain = {k: tuple(v) if isinstance(v, list) else v for k, v in values.items()}
    try:
        forms.bounded({"it": plain})
        _typed(cast("Any", options_type)).validate_json(json.dumps(plain), strict=True)
        _hold_small(plain)
        options = options_type(**plain)
        make_settings(task, options, 1, hand="right")
    except (TypeError, ValueError, ArithmeticError) as error:
        why = forms.told(error) if isinstance(error, ValidationError) else _one_line(error)
        msg = f"plan {plan.name!r}, {task}: {why}"
        raise PlanError(msg) from error
    return options


def _hold_small(values: Mapping[str, Any]) -> None:
    """Refuse sizes and times that nobody can see or do."""
    for name, value in values.items():
        if name.endswith(("_r_mm", "_s")) and 0 < value < MIN_OPTION:
            msg = f"{name} is {value:g}; it must be 0 or at least {MIN_OPTION:g}"
            raise ValueError(msg)


@cache
def _typed(options_type: Any) -> TypeAdapter[Any]:
    return TypeAdapter(options_type)
