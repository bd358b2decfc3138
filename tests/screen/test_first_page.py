"""The first pages of a visit, entered as people enter them.

By the one function the command calls, with a store as enrolling leaves it and a screen that
was measured with a card. Only the window's clock and reader are exchanged.
"""

import contextlib
import itertools
import random
from datetime import datetime

import pytest

from battery.looks import Comfort
from battery.people import new_person
from battery.plan import load_plan
from battery.recording import Screen
from battery.stage import visit as visit_module
from battery.stage.language.languages import language
from battery.stage.screen.theme import theme_named
from battery.stage.screen.window import Window
from battery.store import Store
from tests.screen.pilot import ManualClock, Pilot, tablet
from tests.sparing import share

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
LEAVING = {"start": "other", "other": "end"}  # every other page is passed by its main button
MIN_PICTURE_MM = 10.0


def first_pages(monkeypatch, folder, screen: Screen, comfort: Comfort, *, large: bool):
    """Enrol a person, begin the visit, say "not me", close; return what was published."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    pilots: list[Pilot] = []

    def choose(state):
        keys = [button["key"] for button in state["buttons"]]
        wanted = LEAVING.get(state["page"])
        if wanted in keys:
            return wanted
        return next(key for key in ("turn", "right", "go", "heard") if key in keys)

    @contextlib.contextmanager
    def opened(comfort, **_):
        clock = ManualClock()
        size_px = (screen.width_px, screen.height_px)
        with Window(
            windowed=True,
            known={},
            theme=theme_named(comfort.theme),
            language=language(comfort.language),
            text_share=comfort.text_percent / 100,
            now_ns=clock,
            size_px=size_px,
        ) as window:
            window.use(screen)
            pilots.append(Pilot(window, clock, choose))
            yield window

    monkeypatch.setattr(visit_module, "comfortable_window", opened)
    with Store.open(folder) as store:
        person = new_person(
            store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW
        )
        said = visit_module.visit_on_screen(
            store,
            person,
            load_plan("short"),
            windowed=True,
            large=large,
            wall=lambda: NOW,
            random_source=random.Random(1),
            comfort=comfort,
        )
    assert said == f"no visit of {person.code} was begun; nothing was recorded"
    return pilots[0].states


@pytest.mark.parametrize(
    ("size", "large", "language_code", "text_percent"),
    share(
        itertools.product(
            ["1280x800", "1920x1200"], [True, False], ["en", "de"], [100, 150, 200]
        ),
        5,
    ),
)
def test_the_first_page_comes_up_on_a_measured_screen(
    monkeypatch, tmp_path, size, large, language_code, text_percent
):
    """Asking who is here offers home exercise as well, and shows a picture that can be seen."""
    comfort = Comfort(language=language_code, text_percent=text_percent, voice=False)
    states = first_pages(monkeypatch, tmp_path, tablet(size), comfort, large=large)
    start = [s for s in states if s["page"] == "start" and s["buttons"]][-1]
    assert {"go", "other", "practised"} <= {button["key"] for button in start["buttons"]}
    (picture,) = [box for kind, box in start["boxes"] if kind == "picture"]
    side_mm = min(picture[2:]) / start["px_per_mm"]
    assert side_mm >= MIN_PICTURE_MM
