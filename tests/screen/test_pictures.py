"""The script that saves a picture of everything does so."""

import re

import pytest

from tests.screen import pictures
from tests.screen.crawler import ELSEWHERE, pages_of_the_source

# Pages without a picture, and where they are reached.
UNPICTURED = {
    **ELSEWHERE,
    "again": "test_flow, test_stranger: a visit that was closed goes on",
    "not settled": "test_alarms_travel: what had not settled",
    "nothing done": "test_crawl, the long one: every part left out",
}


@pytest.mark.long  # the crawl of every run goes to the same pages
def test_there_is_a_picture_of_every_page_and_task(tmp_path, monkeypatch):
    """A page that the source makes and that nobody is shown fails here."""
    monkeypatch.setattr("sys.argv", ["pictures", str(tmp_path), "1024x600", "default"])
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    pictures.main()
    names = {path.stem[4:] for path in (tmp_path / "1024x600-default").glob("*.png")}
    shown = {name.removesuffix("-waiting").replace("-", " ") for name in names}
    made = pages_of_the_source()
    assert [
        (page, where)
        for page, where in sorted(made.items())
        if not any(re.fullmatch(page, name) for name in shown | set(UNPICTURED))
    ] == []
    assert {"rest-waiting", "parked-waiting", "card-width", "settings"} <= names
    for task in ("tapping", "slide", "pursuit", "trail"):
        assert {f"demonstration-{task}", f"hand-left-{task}", f"hand-right-{task}"} <= names
        assert sum(name.startswith(f"{task}-") for name in names) >= 2
