"""Today: who needs looking at, alarms first."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from battery.desk.frame import office, page, shows
from battery.report.caseload import STATES, caseload, chosen


def show(request: Request) -> Response:
    """List everybody, those first who need somebody."""
    here = office(request)
    state = request.query_params.get("state", "")
    code = request.query_params.get("code", "").strip().upper()
    with here.store() as store:
        rows = caseload(store, now=here.wall())
        n_waiting = len(store.quarantine())
        unreadable = store.unreadable()
    shown = chosen(rows, state if state in STATES else None)
    return page(
        request,
        "today.html.j2",
        rows=[row for row in shown if row.code.startswith(code)],
        states=STATES,
        state=state,
        code=code,
        n_waiting=n_waiting,
        unreadable=unreadable,
    )


ROUTES = [shows("/", show)]
