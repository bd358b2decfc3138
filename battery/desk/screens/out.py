"""Out of the clinic: exports, and the pages of many people at once, with how far it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from battery.desk.filled import Sent, sent
from battery.desk.frame import Office, chosen, office, page, see_other, shows, takes
from battery.desk.jobs import Job, Step
from battery.desk.words import _
from battery.drives import place_to_write
from battery.errors import BatteryError, StoreError, UsageError
from battery.files import make_folder
from battery.handover.keys import clinic_signature
from battery.people import person_label
from battery.report import page_of, render, write_pdf, write_text
from battery.report.bands import band_rows
from tasks.registry import TASKS

if TYPE_CHECKING:  # loaded with the first export: it takes 35 MB
    from battery.export.choosing.selection import Selection

OF_SELECTION = {"people": "person", "tasks": "task"}  # fields of the form by another name


def show(request: Request) -> Response:
    """Show what may go out, to where."""
    return _shown(request)


def _shown(request: Request, held: Sent | None = None) -> Response:
    here = office(request)
    names = here.names()
    with here.store() as store:
        people = store.people.all()
        gave = store.people.gave_consent("research")
    return page(
        request,
        "out.html.j2",
        held=held,
        people=[(p.code, person_label(p, names), p.code in gave) for p in people],
        tasks=list(TASKS),
        folder=str(place_to_write(f"battery-{here.wall():%Y-%m-%d}")),
    )


def begin(request: Request, form: FormData) -> Response:
    """Begin what was asked for and show how far it is."""
    here = office(request)
    ticked = [str(code) for code in form.getlist("person")]
    try:
        title, work = _work(here, form, ticked)
    except BatteryError as error:
        error.field = OF_SELECTION.get(error.field, error.field)
        return _shown(request, sent("out", form, error))
    return see_other(f"/out/{here.jobs.start(title, work).name}")


def _work(
    here: Office, form: FormData, ticked: list[str]
) -> tuple[str, Callable[[Step], Sequence[str]]]:
    told = chosen(form, "folder")
    folder = Path(told)
    if not told or not folder.is_absolute():
        msg = f"{told!r} is not the full path of a folder; nothing was written"
        raise UsageError(msg, field="folder")
    kind = chosen(form, "kind")
    if kind == "pages":
        return _("Pages"), lambda step: _write_pages(here, folder, ticked, step)
    if kind not in ("tables", "bids", "charts"):
        msg = "choose what is to go out; nothing was written"
        raise UsageError(msg, field="kind")
    from battery.export.choosing.selection import Selection, keep_override

    asked = Selection(
        people=ticked,
        tasks=[str(task) for task in form.getlist("task")],
        since=_day(form, "since"),
        until=_day(form, "until"),
        without_consent=chosen(form, "without_consent"),
    )
    attach = chosen(form, "attach") if kind == "charts" else ""
    if kind == "charts" and (asked.tasks or asked.since or asked.until):
        msg = (
            "a chart has all tasks and days: tick no task and give no day; nothing was written"
        )
        raise UsageError(msg, field="task" if asked.tasks else "since")
    with here.store(write=bool(asked.without_consent)) as store:
        asked.check(store)
        if asked.without_consent:
            keep_override(store, asked, by=here.session.author, at_utc=here.now_utc())
    if kind == "charts":
        title = _("Charts for the record system")
        return title, lambda step: _write_charts(here, folder, attach or None, asked, step)
    return _("Export"), lambda step: _export(here, folder, kind, asked, step)


def _write_charts(
    here: Office, folder: Path, attach: str | None, asked: Selection, step: Step
) -> Sequence[str]:
    from battery.charting import saying
    from battery.export.fhir import export_charts

    with here.store() as store:
        say = saying(store, here.wall(), attach, here.pools)
        done = export_charts(store, folder, say=say, selection=asked, progress=step)
    told = [f"{code}.json" for code in done.n_resources]
    return [str(folder), *told, *(f"not in it: {c}: {why}" for c, why in done.failed.items())]


def _export(
    here: Office, folder: Path, kind: str, asked: Selection, step: Step
) -> Sequence[str]:
    from battery.export import export_bids, export_tidy
    from battery.export.dictionary.all_tables import TABLES

    with here.store() as store:
        if kind == "bids":
            counts = export_bids(store, folder, selection=asked, progress=step)
            return [str(folder), *(f"{what}: {n}" for what, n in counts.items())]
        done = export_tidy(
            store,
            folder,
            selection=asked,
            bands=band_rows(store, now=here.wall()),
            sign=clinic_signature(store),
            now=here.wall(),
            progress=step,
        )
    rows = [f"{TABLES[name].title} ({name}): {n}" for name, n in done.n_rows.items()]
    lost = [f"not in it: block {block}: {why}" for block, why in done.failed.items()]
    return [str(folder), *rows, *lost]


def _write_pages(here: Office, folder: Path, ticked: list[str], step: Step) -> Sequence[str]:
    lines = []
    try:
        make_folder(folder)
    except OSError as error:
        msg = f"cannot make '{folder}': {error.strerror or error}; nothing was written"
        raise StoreError(msg) from error
    with here.store() as store:
        codes = ticked or [person.code for person in store.people.all()]
        pools = here.pools()
        for number, code in enumerate(codes):
            step(number, len(codes))
            html = render(page_of(store, code, now=here.wall(), pools=pools))
            path = write_text(folder / f"{store.people.get(code).code}.html", html)
            lines.append(str(write_pdf(path, path.with_suffix(".pdf"))))
    return lines


def follow(request: Request) -> Response:
    """Show how far something is, and what came out of it."""
    return page(request, "job.html.j2", job=_job(request))


def stop(request: Request, form: FormData) -> Response:
    """Stop it at its next step."""
    del form
    job = _job(request)
    job.stop()
    return see_other(f"/out/{job.name}")


def _job(request: Request) -> Job:
    job = office(request).jobs.get(request.path_params["name"])
    if job is None:
        raise HTTPException(404)
    return job


def _day(form: FormData, name: str) -> date | None:
    told = chosen(form, name)
    try:
        return date.fromisoformat(told) if told else None
    except ValueError as error:
        msg = f"{told!r} is not a day; nothing was written"
        raise UsageError(msg, field=name) from error


ROUTES = [
    shows("/out", show),
    takes("/out", begin),
    shows("/out/{name}", follow),
    takes("/out/{name}/stop", stop),
]
