"""Every page, whatever the case: well formed, self-contained, readable, traceable."""

import itertools
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import pytest

from battery.report import details
from battery.report.shapes import BLUE, VERMILLION
from battery.report.widths import width_pt
from battery.scoring import MEASURES
from norms import sentences
from tests import report_cases as cases
from tests.sparing import only

FEW = (
    "improving", "device_swap", "no_visit", "one_hand_one_task", "year", "crowded",
    "home exercise", "many_alarms", "golden", "paused",
)  # fmt: skip
NAMES = only(list(cases.CASES), FEW)
SHEETS = only(
    list(itertools.product(("A4", "letter"), cases.CASES)),
    [*itertools.product(("A4",), FEW), ("letter", "crowded")],
)
VOID = {"meta", "link", "br", "img", "input", "hr", "col"}
# "Not a diagnosis" is the one place where that word may stand.
ALLOWED = ("not a diagnosis", "it is not intended to diagnose")


class Outline(HTMLParser):
    """Checks that tags nest, and collects what the tests ask about."""

    def __init__(self):
        super().__init__()
        self.open, self.faults, self.headings, self.ids = [], [], [], []
        self.links, self.texts, self.attributes = [], [], []

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        self.attributes.append((tag, attributes))
        if "id" in attributes:
            self.ids.append(attributes["id"])
        if tag == "a":
            self.links.append(attributes.get("href", ""))
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.attributes.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1:]} at {self.getpos()}")
        else:
            self.open.pop()

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.texts.append(data)


def outline(name, paper="A4"):
    parser = Outline()
    parser.feed(cases.html_of(name, paper))
    parser.close()
    return parser


def drawings(name):
    return re.findall(r"<svg .*?</svg>", cases.html_of(name), re.DOTALL)


@pytest.mark.parametrize(("paper", "name"), SHEETS)
def test_tags_nest_ids_are_unique_and_links_lead_somewhere(name, paper):
    page = outline(name, paper)
    assert not page.faults
    assert not page.open
    assert len(page.ids) == len(set(page.ids))
    assert [link for link in page.links if link.lstrip("#") not in page.ids] == []


@pytest.mark.parametrize("name", NAMES)
def test_headings_come_in_order_and_the_language_is_said(name):
    page = outline(name)
    assert dict(page.attributes)["html"] == {"lang": "en"}
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    deeper = [b - a for a, b in zip(page.headings, page.headings[1:], strict=False)]
    assert max(deeper) <= 1


@pytest.mark.parametrize("name", NAMES)
def test_every_drawing_is_xml_with_a_name_or_is_hidden_from_readers(name):
    for drawn in drawings(name):
        root = ET.fromstring(drawn)
        if root.get("aria-hidden") == "true":
            continue
        assert root.get("role") == "img"
        assert root.find("{http://www.w3.org/2000/svg}title").text == root.get("aria-label")
        assert root.find("{http://www.w3.org/2000/svg}desc").text


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_fetched(name):
    html = cases.html_of(name)
    addresses = set(re.findall(r"https?://[^\s\"'<]+", html))
    assert addresses <= {"http://www.w3.org/2000/svg"}
    assert not re.search(r"<(link|img|iframe|object|embed|base)\b|@import|url\(|src=", html)


@pytest.mark.parametrize("name", NAMES)
def test_no_letter_is_smaller_than_nine_points(name):
    html = cases.html_of(name)
    sizes = [float(x) for x in re.findall(r'font-size="([\d.]+)"', html)]
    sizes += [float(x) for x in re.findall(r"font(?:-size)?:[^;}]*?([\d.]+)pt", html)]
    assert sizes
    assert min(sizes) >= 9


@pytest.mark.parametrize("name", NAMES)
def test_no_word_claims_more_than_a_series_can_show(name):
    page = outline(name)
    said = " ".join([*page.texts, *(a.get("title", "") for _, a in page.attributes)]).lower()
    for words in ALLOWED:
        said = said.replace(words, "")
    # What measures, flags and literature are called is looked at where they are defined.
    for made in [*MEASURES.values()]:
        for text in (made.meaning, made.limits, made.source):
            said = said.replace(text.lower(), "")
    found = [word for word in sentences.BANNED if re.search(rf"\b{word}", said)]
    assert found == []


def letters(drawn):
    """Every piece of text in a drawing with the box it fills: left, top, right, bottom."""
    found = []
    for x, y, size, anchor, words in re.findall(
        r'<text x="([-\d.]+)" y="([-\d.]+)" font-size="([\d.]+)" text-anchor="(\w+)"[^>]*>'
        r"([^<]*)<", drawn
    ):  # fmt: skip
        wide, tall = width_pt(words, float(size)), 0.72 * float(size)  # height of a capital
        left = float(x) - {"start": 0, "middle": wide / 2, "end": wide}[anchor]
        found.append((words, left, float(y) - tall, left + wide, float(y)))
    return found


@pytest.mark.parametrize(("paper", "name"), SHEETS)
def test_no_letters_in_a_drawing_overlap_or_leave_it(name, paper):
    for drawn in re.findall(r"<svg .*?</svg>", cases.html_of(name, paper), re.DOTALL):
        width, height = map(
            float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawn).groups()
        )
        boxes = letters(drawn)
        for words, left, top, right, bottom in boxes:
            assert left >= -0.6, words
            assert right <= width + 0.6, words
            assert top >= -0.6, words
            assert bottom <= height + 0.1, words
        for (one, *a), (two, *b) in itertools.combinations(boxes, 2):
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (one, two, drawn[:300])


def relative_luminance(colour):
    """W3C, Web Content Accessibility Guidelines 2.2, definition of relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_letters_stand_out_from_paper_and_shading():
    """At least 4.5 to 1 (success criterion 1.4.3), on white and on the grey of a whole row."""
    html = cases.html_of("crowded")
    letters = set(re.findall(r'<text [^>]*fill="(#\w{6})"', html))
    letters |= set(re.findall(r"--(?:ink|soft|right|left): (#\w{6})", html))
    assert len(letters) >= 4
    for paper in ("#ffffff", "#f4f6f7"):
        for colour in letters:
            light, dark = relative_luminance(paper), relative_luminance(colour)
            assert (light + 0.05) / (dark + 0.05) >= 4.5, (colour, paper)


def test_hands_are_told_apart_without_colour():
    """Disc and solid line against square and dashes, beside blue and vermillion.

    Colours: Okabe & Ito, Color Universal Design (2008), from memory.
    """
    assert (BLUE, VERMILLION) == ("#0072B2", "#D55E00")
    for drawn in drawings("improving"):
        name = re.search(r'aria-label="(\w+) hand, .* over the visits', drawn)
        if not name:
            continue
        marks = re.findall(r"<(circle|rect) [^>]*stroke-width=\"1.1\"", drawn)
        lines = re.findall(r'<polyline [^>]*stroke-width="1.1"([^>]*)>', drawn)
        dashed = ["stroke-dasharray" in attributes for attributes in lines]
        if name[1] == "right":
            assert set(marks) == {"circle"}
            assert not any(dashed)
        else:
            assert set(marks) == {"rect"}
            assert all(dashed)


def test_baseline_points_are_hollow_first_ones_pale_and_flagged_ones_crosses():
    page = cases.page_of("some_flagged")
    drawn = next(d for d in drawings("some_flagged") if "left hand, End-point error" in d)
    hollow = re.findall(r'fill="#fff"[^>]*><title>visit (\d+)', drawn)
    pale = re.findall(r'opacity="0.4"><title>visit (\d+)', drawn)
    crosses = re.findall(r"<path [^>]*><title>visit (\d+)[^<]*does not count: ([^<]+)", drawn)
    assert hollow == ["3", "4", "5", "6"]
    assert pale == ["1", "2"]
    assert crosses == [
        ("9", "too few trials were kept"),
        ("11", "the block was broken off"),
    ]
    assert page.occasions == ()


@pytest.mark.parametrize("name", ["improving", "crowded", "year"])
def test_every_row_of_the_first_sheet_leads_to_its_blocks_and_definition(name):
    page, html = cases.page_of(name), cases.html_of(name)
    rows = re.findall(r'href="#row-(\d+)"', html)
    assert rows == [str(i + 1) for i in range(len(rows))]
    for source in details.sources(page):
        assert f'id="m-{source["measure"]}"' in html
        if source["measure"] == "all.composite":
            continue
        line = next(
            line
            for line in page.lines.values()
            if line.measure.name == source["measure"] and source["title"].startswith(line.hand)
        )
        for reading in line.of("baseline"):
            assert f"visit {reading.visit}, block {reading.block_id[:8]}" in source["baseline"]
        assert line.latest.block_id[:8] in source["latest"]


def test_text_of_others_is_never_markup():
    """A marker's note or a reason is text, whatever it contains."""
    made = cases.Made(
        markers=(cases.MarkerRow(cases.FIRST_DAY, "other", '<script>alert("1")</script>'),),
        remarks={3: ("visit: note <b>bold</b> & more, by A-B <c>: because",)},
        aside=lambda task, hand, visit: ("left out by x: <i>why</i>" if visit == 4 else "", ()),
    )
    html = cases.render(cases.page_data(made.rows(), made=cases.MADE))
    for raw in ("<script>alert", "<b>bold", "<i>why", "<c>"):
        assert raw not in html
    assert "&lt;script&gt;alert" in html


def test_the_same_rows_give_the_same_page():
    one, two = (
        cases.render(cases.page_data(cases.rows_of("crowded"), made=cases.MADE))
        for _ in range(2)
    )
    assert one == two


def test_a_person_is_named_in_one_way(monkeypatch):
    """On the sheet and in its title, by what the one seam for it says."""
    for module in ("rendering", "glance"):
        monkeypatch.setattr(f"battery.report.{module}.person_label", lambda person: "Bed 3")
    text = cases.render(cases.page_of("golden"))
    assert "<title>Coordination test: Bed 3</title>" in text
    assert "<h1>Bed 3 " in text
