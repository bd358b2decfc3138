"""The page on paper: two sheets before the details, on A4 and letter, within the margins."""

import itertools
import re
import subprocess

import pytest

from battery.errors import ReportError
from battery.report import pdf
from tests import report_cases as cases
from tests.sparing import only, share

pytestmark = pytest.mark.needs("pango")

AFTER = "AFTER-THE-FIRST-SHEET"
PX_PER_PT = 96 / 72
PX_PER_MM = 96 / 25.4  # WeasyPrint measures in CSS pixels
SIZES_MM = {"A4": (210, 297), "letter": (215.9, 279.4)}


@pytest.fixture(scope="module")
def weasyprint():
    """The library that lays out pages; it needs the system's Pango."""
    import weasyprint as library

    return library


def two_sheets(name, paper):
    """The page with one line in place of all that follows the first two sheets.

    Drawings are left empty: what is in them moves nothing and takes most of the time.
    """
    html = re.sub(r"(<svg[^>]*>).*?</svg>", r"\1</svg>", cases.html_of(name, paper))
    end = html.index("</section>", html.index("</section>") + 1) + len("</section>")
    return html[:end] + f"<section><p>{AFTER}</p></section></body></html>"


def texts(page):
    return [box for box in page._page_box.descendants() if getattr(box, "text", "")]


@pytest.mark.parametrize(
    ("name", "paper"), share(itertools.product(cases.CASES, ["A4", "letter"]), 21)
)
def test_each_of_the_two_sheets_is_one_page_with_nothing_beyond_its_margins(
    weasyprint, name, paper
):
    document = weasyprint.HTML(string=two_sheets(name, paper)).render()
    assert len(document.pages) == 3
    first, numbers, after = document.pages
    width_mm, height_mm = SIZES_MM[paper]
    assert first.width / PX_PER_MM == pytest.approx(width_mm, abs=0.1)
    assert first.height / PX_PER_MM == pytest.approx(height_mm, abs=0.1)
    assert AFTER in "".join(box.text for box in texts(after))
    for sheet in (first, numbers):
        assert "Keep in mind" in " ".join(box.text for box in texts(sheet))
    for box in texts(first):
        assert box.style["font_size"] >= 10.5 * PX_PER_PT - 0.01, box.text
    for box in [*texts(first), *texts(numbers)]:
        assert box.position_x >= 10 * PX_PER_MM - 1, box.text
        assert box.position_x + box.width <= (width_mm - 10) * PX_PER_MM + 1, box.text


@pytest.mark.parametrize("name", only(["crowded", "two_visits"], ["crowded"]))
def test_every_page_carries_code_and_number(weasyprint, name):
    document = weasyprint.HTML(string=cases.html_of(name)).render()
    last = len(document.pages)
    for number, page in enumerate(document.pages, start=1):
        said = " ".join(box.text for box in texts(page))
        assert re.search(rf"page {number} of\s+{last}", said)
        assert "K7QF, made 2026-11-25 12:00" in said


@pytest.fixture
def html(tmp_path):
    path = tmp_path / "page.html"
    path.write_text(cases.html_of("two_visits"), encoding="utf-8")
    return path


def test_the_library_makes_a_pdf_and_fetches_nothing(weasyprint, html, monkeypatch):
    def refuse(*arguments, **_):
        pytest.fail(f"asked for {arguments}")

    monkeypatch.setattr("socket.socket.connect", refuse)
    text = html.read_text(encoding="utf-8")
    html.write_text(
        text.replace("</main>", "<img alt='' src='http://192.0.2.1/x.png'></main>"),
        encoding="utf-8",
    )
    made = pdf.write_pdf(html, html.with_suffix(".pdf"))
    assert made.read_bytes().startswith(b"%PDF-")
    assert sorted(p.name for p in html.parent.iterdir()) == ["page.html", "page.pdf"]


def test_a_browser_is_asked_when_the_library_is_missing(html, monkeypatch):
    asked = []

    def browser(command, **_):
        asked.append(command)
        target = next(c for c in command if c.startswith("--print-to-pdf="))
        with open(target.partition("=")[2], "wb") as file:  # noqa: PTH123
            file.write(b"%PDF-1.4 by a browser")
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(pdf, "_by_library", lambda *_: False)
    monkeypatch.setattr(pdf, "_browsers", lambda: ["some-browser"])
    monkeypatch.setattr(pdf.subprocess, "run", browser)
    made = pdf.write_pdf(html, html.with_suffix(".pdf"))
    assert made.read_bytes() == b"%PDF-1.4 by a browser"
    ((program, *options),) = asked
    assert program == "some-browser"
    assert "--headless" in options
    assert "--host-resolver-rules=MAP * ~NOTFOUND" in options
    assert options[-1] == html.as_uri()


def test_without_library_and_browser_one_line_says_how_to_get_one(html, monkeypatch):
    monkeypatch.setattr(pdf, "_by_library", lambda *_: False)
    monkeypatch.setattr(pdf, "_browsers", lambda: [])
    with pytest.raises(ReportError) as told:
        pdf.write_pdf(html, html.with_suffix(".pdf"))
    assert "\n" not in str(told.value)
    assert "install 'coordination-battery[pdf]'" in str(told.value)
    assert html.exists()
    assert not html.with_suffix(".pdf").exists()


def test_a_browser_that_fails_leaves_nothing_behind(html, monkeypatch):
    monkeypatch.setattr(pdf, "_by_library", lambda *_: False)
    monkeypatch.setattr(pdf, "_browsers", lambda: ["no-such-program-here"])
    with pytest.raises(ReportError, match="nothing here can make one"):
        pdf.write_pdf(html, html.with_suffix(".pdf"))
    assert sorted(p.name for p in html.parent.iterdir()) == ["page.html"]


def test_a_pdf_that_cannot_be_put_in_place_leaves_no_half_of_one(html, monkeypatch):
    def made(_, target):
        target.write_bytes(b"%PDF-1.4")
        return True

    monkeypatch.setattr(pdf, "_by_library", made)
    taken = html.with_suffix(".pdf")
    taken.mkdir()
    with pytest.raises(ReportError, match=r"cannot write .*page\.pdf.*; the page is in"):
        pdf.write_pdf(html, taken)
    assert sorted(p.name for p in html.parent.iterdir()) == ["page.html", "page.pdf"]
