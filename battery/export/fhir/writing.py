"""Charts as files: one a person, named by the study code, for the owner's eyes only."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from battery.errors import StoreError, UsageError
from battery.export.choosing.selection import EVERYTHING, Selection
from battery.export.fhir.bundle import bundle_of
from battery.export.fhir.chart import Around, Said, read_chart
from battery.export.fhir.check import findings
from battery.export.fhir.names import identity
from battery.files import inside, make_folder, replace_whole
from battery.store import Person, Store

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ChartsDone:
    """What was written.

    Attributes
    ----------
    n_resources : dict of str to int
        By person.
    failed : dict of str to str
        People whose chart was not written, and why.
    """

    n_resources: dict[str, int]
    failed: dict[str, str]


def export_charts(
    store: Store,
    folder: Path | str,
    *,
    say: Callable[[Person], Said],
    selection: Selection = EVERYTHING,
    progress: Progress | None = None,
) -> ChartsDone:
    """Write the chart of everybody who may be exported, as ``CODE.json`` each.

    The rules of consent are those of every export. Charts that an earlier export left in the
    folder go: who withdrew since must not stay behind.

    Parameters
    ----------
    store : Store
    folder : path
        New, empty, or of an earlier export of charts.
    say : callable
        Gives what the page says of a person.
    selection : Selection
        Which people; a chart is not cut by tasks or days.
    progress : callable, optional
        Called with (people done, people in all).

    Raises
    ------
    UsageError
        If what is asked for cannot be, or the folder holds something else.
    StoreError
        If it cannot be written.
    """
    selection.check(store)
    if selection.tasks or selection.since or selection.until:
        msg = (
            "a chart has all tasks and days; leave out --task, --since and --until. Nothing "
            "was exported"
        )
        raise UsageError(msg)
    target = Path(folder)
    earlier = _earlier(target)
    done = ChartsDone({}, {})
    try:
        make_folder(target)
        people = selection.of_people(store)
        gave = store.people.gave_consent("research")
        around = Around.read(store)
        for number, person in enumerate(people, start=1):
            why = "" if person.code in gave else selection.without_consent
            chart = read_chart(store, person, say(person), around=around, without_consent=why)
            bundle = bundle_of(chart)
            if found := findings(bundle):
                done.failed[person.code] = f"{found[0]}" + _more(len(found) - 1)
            else:
                data = json.dumps(bundle, indent=1, ensure_ascii=False, allow_nan=False)
                replace_whole(inside(target, f"{person.code}.json"), f"{data}\n".encode())
                done.n_resources[person.code] = len(bundle["entry"])
            if progress is not None:
                progress(number, len(people))
        kept = {target / f"{code}.json" for code in (*done.n_resources, *done.failed)}
        for path in earlier - kept:
            path.unlink(missing_ok=True)
    except OSError as error:
        msg = (
            f"cannot export to '{target}': {error.strerror or error}. The store is unchanged; "
            "free some space or name another folder, then export again"
        )
        raise StoreError(msg) from error
    return done


def _more(n: int) -> str:
    return f"; and {n} more" if n else ""


def _earlier(folder: Path) -> set[Path]:
    """List the charts of an earlier export; anything else is left alone, by refusing."""
    if not folder.exists():
        return set()
    if not folder.is_dir():
        msg = f"'{folder}' is a file; name a folder that is new, empty or an earlier export"
        raise UsageError(msg)
    paths = set(folder.iterdir())
    strange = sorted(path.name for path in paths if not _is_chart(path))
    if strange:
        msg = (
            f"'{folder}' holds {strange[0]!r}, which is not a chart; name a folder that is "
            "new, empty or of an earlier export of charts. Nothing was exported"
        )
        raise UsageError(msg)
    return paths


def _is_chart(path: Path) -> bool:
    """Whether this program wrote it: a bundle under the identifier that its person gives it."""
    if path.name.startswith(".") and path.suffix == ".partial":
        return True  # of a run that was killed
    if path.suffix != ".json" or path.is_symlink() or not path.is_file():
        return False
    try:
        told: Any = json.loads(path.read_bytes())
        people = [
            entry["resource"]["id"]
            for entry in told["entry"]
            if entry["resource"]["resourceType"] == "Patient"
        ]
        return [told["id"]] == [identity("bundle", person) for person in people]
    except (OSError, ValueError, LookupError, TypeError):
        return False
