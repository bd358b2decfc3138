"""The script that saves a picture of everything does so."""

from tests.screen import pictures


def test_there_is_a_picture_of_every_page_and_task(tmp_path, monkeypatch):
    monkeypatch.setattr("sys.argv", ["pictures", str(tmp_path), "1280x800", "large"])
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    pictures.main()
    names = {path.stem[3:] for path in (tmp_path / "1280x800-large").glob("*.png")}
    assert {"start", "stop-now", "emergency", "hand-left", "hand-right", "rest"} <= names
    assert {"rest-waiting", "stopped", "thanks", "ended", "other"} <= names
    for task in ("tapping", "slide", "pursuit", "trail"):
        assert f"demonstration-{task}" in names
        assert sum(name.startswith(f"{task}-") for name in names) >= 2
