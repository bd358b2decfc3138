"""The desk as an application: its screens, and what happens when something is wrong."""

from __future__ import annotations

import logging
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from battery.desk.frame import Office, page
from battery.desk.screens import (
    clinic,
    door,
    enrol,
    exchange,
    log,
    out,
    person,
    repeats,
    right,
    start,
    today,
)
from battery.desk.words import _
from battery.errors import BatteryError

STATIC = Path(__file__).parent / "static"
SCREENS = (door, today, person, right, enrol, start, exchange, out, clinic, repeats, log)
LOG = logging.getLogger(__name__)


def make_app(held: Office) -> Starlette:
    """Return the application of one desk."""
    app = Starlette(
        routes=[
            *(route for screen in SCREENS for route in screen.ROUTES),
            Mount("/static", StaticFiles(directory=STATIC), name="static"),
        ],
        exception_handlers={
            BatteryError: _in_one_line,
            HTTPException: _not_there,
            Exception: _trouble,
        },
    )
    app.state.office = held
    return app


async def _in_one_line(request: Request, error: Exception) -> Response:
    return await _said(request, 400, str(error))


async def _not_there(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    return await _said(request, status, _("There is no such page at the desk."))


async def _trouble(request: Request, error: Exception) -> Response:
    LOG.error("a page of the desk failed", exc_info=error)
    line = _("Something went wrong at the desk. What is stored is safe. Go back and try again.")
    return await _said(request, 500, line)


async def _said(request: Request, status: int, line: str) -> Response:
    return await run_in_threadpool(
        page, request, "trouble.html.j2", status_code=status, line=line
    )
