"""Longer languages, larger words and the other way of reading: nothing is cut or lost."""

import itertools
import random
import uuid

import pygame
import pytest

from battery.stage.drawing.lettering import CAP_SHARE, LINE_PITCH, Lettering
from battery.stage.drawing.pagination import leaves, parted, rows_of, sentences
from battery.stage.drawing.places import DEFAULT, LARGE, Button
from battery.stage.language import texts
from battery.stage.language.languages import language
from battery.stage.pages.builder import BACK, Maker
from battery.stage.pages.following import run_pages
from battery.stage.pages.home_exercise import HomeExercisePages
from battery.stage.pages.page import TextPage
from battery.store import Store
from tests.screen.languages import LONG, RIGHT_TO_LEFT
from tests.screen.layout import check_page
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import Pilot, open_window, tablet
from tests.screen.test_flow import BRIEF, NOW, Clinic

SPOKEN = {"long": LONG, "mirrored": RIGHT_TO_LEFT, "de": language("de")}
WAYS = (
    ("all", "5"),
    ("some", "trail", "end"),
    ("rest_day", "undo", "end"),
    ("head_turns", "end", "3", "end"),
    ("timer", "left", "go", "end"),
    ("timer", "left", "go", None, "end"),
    ("timer", "head_turns", "go", "1", "60", None, "0", "60"),
)


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        yield store


def turning(choose):
    """Go from leaf to leaf, and on the page itself do as `choose` says."""

    def chosen(state):
        keys = [button["key"] for button in state["buttons"]]
        return "turn" if "turn" in keys else choose(state)

    return chosen


def pressing(*keys):
    """Press these one after another; None waits."""
    script = list(keys)
    return lambda _: script.pop(0) if script else None


def states_of(store, window, clock, monkeypatch, *, large):
    """What a visit with one task, and every way through home exercise, publish."""
    clinic = Clinic(store, window, clock, monkeypatch, BRIEF, large=large)
    clinic.endings = ["stopped"]
    states = clinic.visit(turning(Somebody()))
    numbers = itertools.count()
    for way in WAYS:
        pilot = Pilot(window, clock, turning(pressing(*way)))
        make = Maker(
            large=large, side="right", stopped=lambda back: back(),
            help_page=lambda page: page, staff_page=lambda page: page,
        )  # fmt: skip
        pages = HomeExercisePages(
            make, window.sound, store.care, person=clinic.person.code, now=lambda: NOW,
            new_id=lambda: str(uuid.UUID(int=next(numbers))),
        )  # fmt: skip
        pilot.add((clock.now + 200 * 10**9, "quit"))
        run_pages(window, pages.first(lambda: None))
        window.closing = False
        states += pilot.states
    return states


@pytest.mark.parametrize(
    ("size", "large", "spoken", "share"),
    [
        pytest.param("1280x800", False, "long", 1.0, marks=pytest.mark.long),
        pytest.param("1280x800", True, "long", 1.0, marks=pytest.mark.long),
        ("1024x600", False, "long", 1.5),
        pytest.param("1920x1200", False, "long", 2.0, marks=pytest.mark.long),
        pytest.param("1280x800", True, "long", 2.0, marks=pytest.mark.long),
        ("1280x800", False, "mirrored", 1.0),
        pytest.param("1280x800", False, "de", 2.0, marks=pytest.mark.long),
        pytest.param("1024x600", True, "de", 1.0, marks=pytest.mark.long),
    ],
)
def test_nothing_is_cut_in_any_language_and_size(
    store, monkeypatch, size, large, spoken, share
):
    screen = tablet(size)
    with open_window(monkeypatch, screen) as (window, clock):
        window.language, window.text_share = SPOKEN[spoken], share
        states = states_of(store, window, clock, monkeypatch, large=large)
    pages = {state["page"] for state in states}
    assert {"start", "thanks", "stopped", "hand used", "how long", "head cautions"} <= pages
    assert share == 1.0 or any(b["key"] == "turn" for s in states for b in s["buttons"])
    for state in states:
        check_page(state, screen, LARGE if large else DEFAULT)
        if share > 1:
            words_are_large(state, share)


def words_are_large(state, share):
    """On a leaf every row has the height that was asked for: its pitch tells it."""
    if not any(button["key"] == "turn" for button in state["buttons"]):
        return
    below_px = 34 * state["px_per_mm"]  # the title stands above
    rows = [rect for kind, rect in state["boxes"] if kind == "words" and rect[1] > below_px]
    small_px = 1.1 * LINE_PITCH / CAP_SHARE * DEFAULT.least * state["px_per_mm"]
    tops = [top for _, top, _, tall in rows if tall > small_px]  # not the line at the edge
    pitches = [b - a for a, b in itertools.pairwise(tops)]
    least_px = LINE_PITCH / CAP_SHARE * DEFAULT.text * share * state["px_per_mm"]
    assert all(pitch >= 0.97 * least_px for pitch in pitches), state["page"]


def test_a_mirrored_language_starts_its_rows_at_the_right(headless):
    window, clock = headless
    edges = {}
    for name, spoken in (("long", LONG), ("mirrored", RIGHT_TO_LEFT)):
        window.language, window.closing = spoken, False
        pilot = Pilot(window, clock, lambda _: None)
        pilot.add((clock.now + 10**9, "quit"))
        page = TextPage("page", texts.REST_TITLE, texts.STOP_NOW_LINES, (), lambda _: None)
        run_pages(window, page)
        boxes = pilot.states[-1]["boxes"]
        rows = [pygame.Rect(rect) for kind, rect in boxes if kind == "words"]
        edges[name] = ({r.left for r in rows[2:]}, {r.right for r in rows[2:]})
    assert len(edges["long"][0]) == 1 < len(edges["long"][1])
    assert len(edges["mirrored"][1]) == 1 < len(edges["mirrored"][0])


def test_leaves_lose_no_word_and_keep_to_their_rows(headless):
    letters = Lettering(40.0)
    source = random.Random(2)
    for _ in range(50):
        paragraphs = [
            " ".join("word" * source.randint(1, 2) for _ in range(source.randint(1, 40)))
            for _ in range(source.randint(1, 4))
        ]
        widths_px = [600] * source.randint(1, 4) + [400] * source.randint(0, 3)
        made = leaves(paragraphs, letters, widths_px)
        assert " ".join(" ".join(leaf) for leaf in made) == " ".join(paragraphs)
        for leaf in made:
            rows = rows_of(leaf, letters, widths_px)
            assert rows is not None
            assert all(
                letters.width_px(row) <= wide
                for row, wide in zip(rows, widths_px, strict=False)
            )
        if (shared := parted(made[-1], letters, [300, 200])) is not None:
            kept, end = shared
            assert all((kept, end))
            assert " ".join([*kept, *end]) == " ".join(made[-1])
            assert rows_of(end, letters, [300, 200]) is not None


@pytest.mark.parametrize(
    "lines",
    [texts.NO_STICK_LINES, texts.FAILED_LINES, (texts.HOME_PLAN_NONE,), texts.TROUBLE_LINES],
)
def test_no_title_stands_alone_behind_its_leaves(monkeypatch, lines):
    with open_window(monkeypatch, tablet("1024x600")) as (window, clock):
        window.text_share, window.language = 2.0, language("de")
        pilot = Pilot(window, clock, turning(lambda _: "go"))
        ways = (BACK, Button("go", texts.AGAIN, "right"))
        run_pages(window, TextPage("page", texts.FAILED_TITLE, lines, ways, lambda _: None))
    head_px = 34 * pilot.states[-1]["px_per_mm"]
    tops = [rect[1] for kind, rect in pilot.states[-1]["boxes"] if kind == "words"]
    assert len(pilot.states) > 1
    assert max(tops) > head_px


def test_a_leaf_ends_with_a_sentence_where_it_can(headless):
    letters = Lettering(40.0)
    wide = letters.width_px("Rest your hand in your lap.")
    said = "Rest your hand in your lap. Then look at the dot. "
    said += "Take z. B. a cup of tea, cold or hot."
    assert sentences(said) == [
        "Rest your hand in your lap.",
        "Then look at the dot.",
        "Take z. B. a cup of tea, cold or hot.",
    ]
    assert leaves([said], letters, [wide, wide]) == [
        ["Rest your hand in your lap. Then look at the dot."],
        ["Take z. B. a cup of tea, cold or hot."],
    ]
    # Too long for a leaf of one row: broken after its comma, no word alone on the last.
    assert leaves([sentences(said)[2]], letters, [wide]) == [
        ["Take z. B. a cup of tea,"],
        ["cold or hot."],
    ]


def test_a_leaf_has_the_title_and_says_which_it_is(headless):
    window, clock = headless
    window.text_share, window.language = 2.0, language("de")
    drawn = []

    class Noting(Pilot):
        def show(self, state):
            drawn.append(state)
            super().show(state)

    pilot = Noting(window, clock, turning(lambda _: None))
    pilot.add((clock.now + 60 * 10**9, "quit"))
    page = TextPage("page", texts.REST_TITLE, texts.STOP_NOW_LINES, (), lambda _: None)
    run_pages(window, page)
    leaf_states = [s for s in drawn if any(b["key"] == "turn" for b in s["buttons"])]
    assert len(leaf_states) >= 3
    below_px = 34 * leaf_states[0]["px_per_mm"]
    for state in leaf_states:
        tops = [rect[1] for kind, rect in state["boxes"] if kind == "words"]
        assert min(tops) < below_px / 2 < below_px < max(tops)
