"""Commands for what is known around visits: events, home exercise, goals, baselines."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TYPE_CHECKING, Annotated, get_args

import typer

from battery.commands.common import Home, by_meant, day_meant, now, now_utc, open_store
from battery.errors import UsageError
from battery.moments import utc_text

if TYPE_CHECKING:
    from battery.store import Store

Person = Annotated[str, typer.Argument(help="The person's code.")]
Author = Annotated[str, typer.Option("--by", help="Who says so, in initials or a role.")]
On = Annotated[
    str | None, typer.Option("--on", help="Day it happened, as 2026-05-31. Default: today.")
]


def mark(
    code: Person,
    kind: Annotated[
        str,
        typer.Argument(
            help="medication, injection, stimulation, relapse, fall, illness, therapy, device, "
            "glasses, weight, helper or other."
        ),
    ],
    note: Annotated[str, typer.Option(help="A few words; shown on the page.")] = "",
    on: On = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Mark a dated event on a person's time axis: a change that scores may go with.

    Example: battery mark K7QF medication --on 2026-05-31 --note "evening dose halved"
    """
    from battery.entered_by import keep_entered_by
    from battery.store.rows.said_later import MarkerKind

    if kind not in get_args(MarkerKind):
        msg = f"{kind!r} is not a kind of event; kinds are {', '.join(get_args(MarkerKind))}"
        raise UsageError(msg)
    day = now().date() if on is None else day_meant(on, "stored")
    with open_store(home) as store:
        person = store.people.get(code.upper())
        with store.together():
            marker = store.annotations.add_marker(
                person.code,
                kind,  # type: ignore[arg-type]  # checked above
                at_utc=_noon_utc(day),
                note=note,
            )
            keep_entered_by(store, person.code, marker.marker_id, by_meant(by))
    print(f"{person.code}: {kind} marked on {day}")


def plan(
    code: Person,
    told: Annotated[
        str | None,
        typer.Argument(
            metavar="[PLAN]",
            help="standard, numbers, short, or the path of a plan file. Without: show it.",
        ),
    ] = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Set or show the plan that a person follows at every visit; earlier ones stay beside it.

    'battery visit CODE' and 'battery tablet' then do it without its being named.
    Example: battery plan K7QF short --by AB
    """
    from battery.own_plan import contradiction_words, own_plan, plan_words, set_plan

    with open_store(home, write=told is not None) as store:
        person = store.people.get(code.upper())
        if told is not None:
            set_plan(store, person.code, told, author=by, at_utc=now_utc())
        for row in store.care.plans(person.code):
            print(f"{person.code}: {plan_words(row)}")
        held = own_plan(store, person.code)
        if held is None:
            print(f"{person.code}: no plan of their own; visits follow the standard one")
        elif held.against:
            print(contradiction_words(person.code, held))


def home_plan(
    code: Person,
    exercise: Annotated[
        str | None,
        typer.Argument(help="tapping, slide, pursuit or trail. Without: show what holds."),
    ] = None,
    hand: Annotated[str, typer.Option(help="both, left or right.")] = "",
    minutes: Annotated[float | None, typer.Option(help="With each arm, each time.")] = None,
    times: Annotated[int | None, typer.Option(help="Times on such a day.")] = None,
    days: Annotated[
        str, typer.Option(help="all, or some of mon,tue,wed,thu,fri,sat,sun.")
    ] = "",
    target: Annotated[str, typer.Option(help="Where the target is: near or wall.")] = "",
    weight: Annotated[int | None, typer.Option(help="At the wrist, grams; 0 is none.")] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at", help="Time of a reminder on the tablet, as 09:00; may be repeated."
        ),
    ] = None,
    stop: Annotated[bool, typer.Option("--stop", help="It is no longer agreed.")] = False,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    on: Annotated[
        str | None,
        typer.Option("--on", help="Day from which it holds, as 2026-05-31. Default: today."),
    ] = None,
    home: Home = None,
) -> None:
    """Set one exercise of a person's home plan as agreed, or show the plan; others stay.

    Everything is set by the therapist: there is no dose to begin with, and none is advised.
    Example: battery home-plan K7QF tapping --hand both --minutes 1 --times 3 --days all
    --target near --weight 0 --at 09:00 --by AB
    """
    from battery.home_plan import (
        Dose,
        day_numbers,
        dose_of,
        dose_words,
        held_home_plan,
        set_home_plan,
    )

    today = now().date()
    with open_store(home, write=exercise is not None) as store:
        person = store.people.get(code.upper())
        day = today if on is None else day_meant(on, "stored")
        held = held_home_plan(store.care.home_plans(person.code), day)
        if exercise is not None:
            doses = [dose_of(entry) for entry in held if entry.exercise != exercise]
            if not stop:
                if minutes is None or times is None or weight is None:
                    msg = (
                        "say --hand, --minutes, --times, --days, --target and --weight; "
                        "nothing was stored"
                    )
                    raise UsageError(msg)
                numbers = day_numbers(days)
                doses.append(
                    Dose(
                        exercise, hand, minutes, times, numbers, target, weight, tuple(at or ())
                    )
                )
            set_home_plan(store, person.code, doses, from_date=day, author=by, at_utc=now_utc())
            held = held_home_plan(store.care.home_plans(person.code), day)
    for entry in held:
        print(f"{person.code}: {dose_words(entry)}, set by {entry.author}")
    if not held:
        print(f"{person.code}: nothing is agreed for home")


def rebaseline(
    code: Person,
    by: Author,
    reason: Annotated[str, typer.Option(help="Why the old baseline no longer serves.")],
    from_visit: Annotated[
        int | None, typer.Option(min=1, help="Number of the visit that begins the new one.")
    ] = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="Go back to the baseline after enrolment.")
    ] = False,
    home: Home = None,
) -> None:
    """Begin a new baseline at a visit, on purpose. The old one stays on the page.

    Example: battery rebaseline K7QF --from-visit 9 --by therapist --reason "new drug"
    """
    if (from_visit is None) != undo:
        msg = "say either --from-visit NUMBER or --undo; nothing was stored"
        raise UsageError(msg)
    with open_store(home) as store:
        person = store.people.get(code.upper())
        visit_id = None
        if from_visit is not None:
            from battery.effective import visit_meant

            visit_id = visit_meant(store, person.code, from_visit).header.visit_id
        store.annotations.restart_baseline(
            person.code, visit_id, author=by, reason=reason, at_utc=now_utc()
        )
    where = "after enrolment" if from_visit is None else f"at visit {from_visit}"
    print(f"{person.code}: the baseline begins {where}")


def goal(
    code: Person,
    by: Author,
    text: Annotated[
        str | None, typer.Option("--new", help="What the person wants to do, in own words.")
    ] = None,
    number: Annotated[int | None, typer.Option(min=1, help="Goal to rate.")] = None,
    level: Annotated[
        int | None,
        typer.Option(
            min=-2, max=2, help="-2 much less than hoped for, 0 as hoped for, 2 much more."
        ),
    ] = None,
    weight: Annotated[float, typer.Option(help="How much it counts among the goals.")] = 1.0,
    home: Home = None,
) -> None:
    """Keep a person's goal, or how far one was reached; the page shows both.

    Example: battery goal K7QF --new "carry a full cup" --by therapist, later
    battery goal K7QF --number 1 --level 0 --by therapist
    """
    if (text is None) == (number is None) or (number is None) != (level is None):
        msg = "say either --new TEXT, or --number and --level; nothing was stored"
        raise UsageError(msg)
    with open_store(home) as store:
        person = store.people.get(code.upper())
        if text is not None:
            store.care.set_goal(person.code, text, weight=weight, author=by, at_utc=now_utc())
        elif number is not None and level is not None:
            goals = store.care.goals(person.code)
            if number > len(goals):
                msg = (
                    f"goal {number} is not there; {person.code} has {len(goals)}. "
                    "Nothing was stored"
                )
                raise UsageError(msg)
            store.care.rate_goal(goals[number - 1].goal_id, level, author=by, at_utc=now_utc())
        for i, kept in enumerate(store.care.goals(person.code), start=1):
            print(f"{i}  {kept.goal}")


def reliability(
    plan: Annotated[
        str | None,
        typer.Option(help="Hash of a plan or its start. Default: the usual."),
    ] = None,
    home: Home = None,
) -> None:
    """Show how well the main measures repeat here: everybody's baseline visits.

    Takes people as unchanged over their baseline. Example: battery reliability
    """
    from rich.console import Console
    from rich.table import Table

    from battery.report.repeats import repeats, repeats_text

    with open_store(home, write=False) as store:
        chosen = None if plan is None else _plan_meant(store, plan)
        found, used = repeats(store, plan_hash=chosen)
    if not found:
        print("no scored visit yet; nothing can be said")
        return
    header, *rows = repeats_text(found)
    table = Table(*header, box=None)
    for row in rows:
        table.add_row(*row)
    print(f"plan {used[:8]}; complete baselines, people taken as unchanged")
    Console(width=150).print(table)


def outside_error(
    measure: Annotated[str, typer.Argument(help="Its name, such as tapping.radial_error_mm.")],
    by: Author,
    source: Annotated[str, typer.Option(help="Where it was published or measured.")] = "",
    percent: Annotated[
        float | None,
        typer.Option(help="Within-person coefficient of variation, 0.01 to 200 percent."),
    ] = None,
    sem: Annotated[
        float | None, typer.Option(help="Standard error of measurement in the measure's unit.")
    ] = None,
    people: Annotated[int, typer.Option(min=0, help="People in that study.")] = 0,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take it back: use this store's own scatter.")
    ] = False,
    home: Home = None,
) -> None:
    """Enter the error of a measure from a reliability study; its bands then rest on that.

    Measures compared on logarithms take --percent, the others --sem.
    Example: battery outside-error trail.time_per_link_s --percent 9 --people 31
    --source "our own repeat study, 2026" --by therapist
    """
    from battery.report.outside_errors import (
        enter_outside_error,
        measure_meant,
        take_back_outside_error,
    )

    known = measure_meant(measure)
    size = sem if percent is None else percent
    if (percent is not None) + (sem is not None) + remove != 1:
        msg = "say one of --percent, --sem and --remove; nothing was stored"
        raise UsageError(msg)
    if sem is not None and known.log_scale:
        msg = f"{measure} is compared on logarithms; say --percent. Nothing was stored"
        raise UsageError(msg)
    if percent is not None and not known.log_scale:
        msg = f"{measure} is compared in its unit; say --sem. Nothing was stored"
        raise UsageError(msg)
    said = {"author": by, "at_utc": now_utc()}
    with open_store(home) as store:
        if size is None:
            take_back_outside_error(store, measure, **said)
        else:
            enter_outside_error(store, measure, size, source=source, n_people=people, **said)
    what = f"the error entered, {source}" if size is not None else "this store's own scatter"
    print(f"{measure}: bands rest on {what}")


def _plan_meant(store: Store, told: str) -> str:
    known = store.setup.plans()
    found = [plan for plan in known if plan.startswith(told)]
    if len(found) != 1:
        msg = f"{len(found)} plans begin with {told!r}; known are {', '.join(known)}"
        raise UsageError(msg)
    return found[0]


def _noon_utc(day: date) -> str:
    """Return noon of a day here, so that it stays that day a few time zones away."""
    return utc_text(datetime.combine(day, time(12)).astimezone(), "seconds")


COMMANDS = (mark, plan, home_plan, rebaseline, goal, reliability, outside_error)
