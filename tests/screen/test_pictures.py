"""The script that saves a picture of everything does so."""

from tests.screen import pictures


def test_there_is_a_picture_of_every_page_and_task(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.argv", ["pictures", str(tmp_path), "1280x800", "large"])
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    pictures.main()
    names = {path.stem[4:] for path in (tmp_path / "1280x800-large").glob("*.png")}
    assert {"exercises", "welcome", "card-width", "emergency", "rest", "settings"} <= names
    assert {
        "rest-waiting",
        "stopped",
        "as-last-time",
        "thanks",
        "parked-waiting",
        "other",
    } <= names
    for task in ("tapping", "slide", "pursuit", "trail"):
        assert {f"demonstration-{task}", f"hand-left-{task}", f"hand-right-{task}"} <= names
        assert sum(name.startswith(f"{task}-") for name in names) >= 2
