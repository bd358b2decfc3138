"""Reads what is known around visits: home exercise, goals, a new baseline, outside errors."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta

from battery.home_plan import Planned
from battery.report.page_rows import GoalRow, HomeExerciseRow
from battery.store import (
    Goal,
    GoalLevel,
    HomeExercise,
    OutsideError,
    PersonState,
    Restart,
)
from norms.band import OutsideSem

WEEK = timedelta(days=7)


def restart_visit(restarts: Sequence[Restart], numbers: Mapping[str, int]) -> int | None:
    """Return the number of the visit at which the new baseline begins; None without one.

    The latest word counts. A visit that is another person's by now begins nothing.

    Parameters
    ----------
    numbers : mapping of visit to its number
        Of the visits that are the person's now.
    """
    return numbers.get(restarts[-1].visit_id or "") if restarts else None


def held_restart(restarts: Sequence[Restart], numbers: Mapping[str, int]) -> Restart | None:
    """Return who began the baseline that holds, and why; None while it is the first one."""
    return restarts[-1] if restart_visit(restarts, numbers) is not None else None


def latest_state(states: Sequence[PersonState]) -> PersonState | None:
    """Return the latest word on whether a person is due; None where nobody said."""
    return states[-1] if states else None


def outside_sems(entered: Sequence[OutsideError]) -> dict[str, OutsideSem]:
    """Return the errors that hold now, by measure: the latest word on each."""
    latest = {row.measure: row for row in entered}
    return {
        name: OutsideSem(row.sem, row.source, row.n_people)
        for name, row in latest.items()
        if row.sem is not None
    }


def home_exercise_rows(
    planned: Sequence[Planned],
    told: Sequence[date],
    seen: Sequence[date],
    *,
    first: date,
    last: date,
    rest: Sequence[date] = (),
) -> tuple[HomeExerciseRow, ...]:
    """Count home exercise by week, from Monday, over the days of the page.

    Parameters
    ----------
    planned : sequence of Planned
        In order of the day each holds from.
    told, seen : sequence of date
        Days of home exercise: as the person said, as a device saw it; a day twice is two times.
    first, last : date
        Of the visits.
    rest : sequence of date
        Days the person reported as a rest day: an answer, but no exercise.

    Returns
    -------
    tuple of HomeExerciseRow
        One a week; empty if nothing was planned, told or seen. Counts are None, not 0, for
        weeks before the first answer of that kind: nobody was asked yet.
    """
    if not planned and not told and not seen and not rest:
        return ()
    days = [*told, *seen, *rest, first]
    monday = min(days) - timedelta(days=min(days).weekday())
    rows = []
    while monday <= last:
        end = monday + WEEK
        holding = [p for p in planned if p.from_date < end.isoformat()]
        plan = holding[-1].per_week if holding else None
        rows.append(
            HomeExerciseRow(
                monday,
                plan,
                _within(told, monday, end, [*told, *rest]),
                _within(seen, monday, end, seen),
            )
        )
        monday = end
    return tuple(rows)


def _within(
    days: Sequence[date], monday: date, end: date, answers: Sequence[date]
) -> float | None:
    """Count days of a week; before the first answer there is no count."""
    if not answers or end <= min(answers):
        return None
    return float(sum(monday <= day < end for day in days))


def diary_days(entries: Sequence[HomeExercise]) -> tuple[list[date], list[date], list[date]]:
    """Sort diary entries into days of exercise as told and as seen, and days of rest."""
    told, seen, rest = [], [], []
    for entry in entries:
        day = date.fromisoformat(entry.local_date)
        if not entry.was_done:
            continue
        if entry.exercise == "rest_day":
            rest.append(day)
        elif entry.kind == "seen":
            seen.append(day)
        else:
            told.append(day)
    return told, seen, rest


def goal_rows(
    goals: Sequence[Goal], levels: Sequence[GoalLevel], gone: Collection[str] = ()
) -> tuple[GoalRow, ...]:
    """Join each goal with its ratings in order of time, without those taken back.

    Parameters
    ----------
    gone : collection of str
        Identifiers of goals and ratings that were taken back.
    """
    return tuple(
        GoalRow(
            goal.goal,
            goal.weight,
            tuple((level.at_utc[:10], level.level) for level in levels
                  if level.goal_id == goal.goal_id and level.level_id not in gone),
        )
        for goal in goals
        if goal.goal_id not in gone
    )  # fmt: skip
