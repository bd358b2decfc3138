"""Who did what: everything that was said about anybody or the clinic, the newest first."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from battery.desk.clinic_history import history_of_clinic
from battery.desk.frame import language_of, office, page, shows
from battery.desk.history import Told, history_of

MAX_ROWS = 500
OF_CLINIC = ""  # in place of a person's code


def show(request: Request) -> Response:
    """List what was said, by everybody or by one author."""
    author = request.query_params.get("author", "")
    language = language_of(request)
    with office(request).store() as store:
        told = Told(store)
        everything = [
            (person.code, row)
            for person in store.people.all()
            for row in history_of(store, person.code, told, language=language)
        ]
        everything += [(OF_CLINIC, row) for row in history_of_clinic(store, language=language)]
        gone = store.erasure.tombstones()
    authors = sorted({row.author for _code, row in everything if row.author})
    rows = [pair for pair in everything if not author or pair[1].author == author]
    rows.sort(key=lambda pair: pair[1].at_utc, reverse=True)
    return page(
        request,
        "log.html.j2",
        rows=rows[:MAX_ROWS],
        n_more=max(0, len(rows) - MAX_ROWS),
        authors=authors,
        chosen=author,
        gone=gone,
    )


ROUTES = [shows("/log", show)]
