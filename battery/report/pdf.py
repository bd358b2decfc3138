"""From a page to a PDF, on this machine alone: by a library, or by a browser that is there."""

from __future__ import annotations

import logging
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable
from pathlib import Path

from battery.errors import ReportError
from battery.files import close_to_others

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
)
# Where they lie when they are not on the search path (Windows, macOS).
PLACES = (
    "{ProgramFiles}/Google/Chrome/Application/chrome.exe",
    "{ProgramFiles(x86)}/Microsoft/Edge/Application/msedge.exe",
    "{ProgramFiles}/Microsoft/Edge/Application/msedge.exe",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
OFFLINE = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--no-pdf-header-footer",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)
MAX_S = 120
WAY_OUT = (
    "install 'coordination-battery[pdf]', or a browser of the Chromium family, or open the "
    "page and print it"
)


def write_pdf(html_path: Path, pdf_path: Path) -> Path:
    """Turn a written page into a PDF of the paper size it was made for.

    Nothing is fetched: the page holds all it needs, and both ways are told to ask for nothing.

    Raises
    ------
    ReportError
        If neither the library nor a browser can make it; the page itself is there.
    """
    part = pdf_path.with_name(f".{pdf_path.name}.{os.getpid()}.partial")
    try:
        if not (_by_library(html_path, part) or _by_browser(html_path, part)):
            msg = f"no PDF of '{html_path}', as nothing here can make one: {WAY_OUT}"
            raise ReportError(msg)
        close_to_others(part)
        part.replace(pdf_path)
    except OSError as error:
        why = error.strerror or error
        msg = f"cannot write '{pdf_path}': {why}; the page is in '{html_path}'"
        raise ReportError(msg) from error
    finally:
        part.unlink(missing_ok=True)
    return pdf_path


def _by_library(html_path: Path, pdf_path: Path) -> bool:
    """Use WeasyPrint; False where it, or the system's Pango library, is missing."""
    try:
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError):
        return False
    # It warns of every rule of the style sheet that is meant for screens only.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    page = HTML(
        string=html_path.read_text(encoding="utf-8"),
        url_fetcher=URLFetcher(allowed_protocols=()),
    )
    page.write_pdf(pdf_path, pdf_tags=True)
    return True


def _by_browser(html_path: Path, pdf_path: Path) -> bool:
    """Use a browser without a window, each that is found in turn; False if none does it."""
    return any(_printed_by(program, html_path, pdf_path) for program in _browsers())


def _browsers() -> Iterable[str]:
    for name in BROWSERS:
        found = shutil.which(name)
        if found:
            yield found
    for place in PLACES:
        for variable in ("ProgramFiles(x86)", "ProgramFiles"):
            place = place.replace(f"{{{variable}}}", os.environ.get(variable, "-"))
        if Path(place).is_file():
            yield place


def _printed_by(program: str, html_path: Path, pdf_path: Path) -> bool:
    # A browser of root refuses its own sandbox; the page comes from this program alone.
    as_root = ("--no-sandbox",) if getattr(os, "geteuid", lambda: 1)() == 0 else ()
    with tempfile.TemporaryDirectory(prefix="battery-pdf-", ignore_cleanup_errors=True) as own:
        command = [
            program,
            *OFFLINE,
            *as_root,
            f"--user-data-dir={own}",
            f"--print-to-pdf={pdf_path.resolve()}",
            html_path.resolve().as_uri(),
        ]
        try:
            subprocess.run(command, capture_output=True, timeout=MAX_S, check=False)
        except (OSError, subprocess.TimeoutExpired):
            return False
    return pdf_path.is_file() and pdf_path.stat().st_size > 0
