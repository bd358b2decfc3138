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
    with here.store() as store:
        rows = caseload(store, now=here.wall())
    shown = chosen(rows, state if state in STATES else None)
    return page(request, "today.html.j2", rows=shown, states=STATES, state=state)


ROUTES = [shows("/", show)]
