"""Whether the voice and the tone can be heard: louder, softer, or no sound at all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from battery.comfort import comfort_of, keep_comfort, was_heard
from battery.looks import LOUDEST, Comfort
from battery.moments import utc_text
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.speech import files_of
from battery.stage.pages.builder import Maker, Next
from battery.stage.pages.comforts import quiet_page
from battery.stage.pages.following import run_pages
from battery.stage.pages.page import Page, TextPage
from battery.stage.pages.presses import Presses
from battery.stage.screen.sound import Sound
from battery.stage.settings.comfort import comfortable_window
from battery.stage.settings.device import load_device
from battery.store import Person, Store
from battery.visits import Wall

STEP_PERCENT = 20
CHOICES = (
    Button("softer", texts.SOFTER, main=False),
    Button("louder", texts.LOUDER, main=False),
    Button("none", texts.NO_SOUND, main=False),
    Button("go", texts.GOOD),
)
Keep = Callable[[int, bool], None]


@dataclass
class SoundPage(TextPage):
    """Plays the voice and the tone at the volume that is set, again after every change."""

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Change the volume and let it be heard; any other key leaves."""
        del presses
        if key not in ("softer", "louder"):
            return key
        sound = canvas.window.sound
        step = STEP_PERCENT if key == "louder" else -STEP_PERCENT
        sound.volume_percent = min(max(sound.volume_percent + step, STEP_PERCENT), LOUDEST)
        sound.play()
        sound.speak(files_of(canvas.window.language, (texts.SOUND_TITLE,)))
        return None


def sound_page(sound: Sound, keep: Keep, done: Next, make: Maker) -> SoundPage:
    """Make the page.

    Parameters
    ----------
    sound : Sound
        Speaks from now on as was chosen.
    keep : callable
        Gets the volume in percent and whether pages are spoken.
    done : callable
        Returns the page that follows.
    make : Maker
    """

    def quiet() -> Page | None:
        sound.volume_percent, sound.voice = 0, False
        keep(sound.volume_percent, sound.voice)
        return done()

    def after(key: str) -> Page | None:
        if key == "none":
            return quiet_page(make, quiet, lambda: page)
        if key == "go":
            keep(sound.volume_percent, sound.voice)
        return done()

    page = SoundPage(
        "sound",
        texts.SOUND_TITLE,
        texts.SOUND_LINES,
        (),
        after,
        choices=CHOICES,
        **make.shared(None, stop=False),
    )
    return page


def first_heard(
    store: Store,
    person: Person,
    sound: Sound,
    done: Callable[[], Page],
    make: Maker,
    *,
    wall: Wall,
) -> Page:
    """Ask whether the sound is heard well, once for each person, then go on.

    Where nothing can be heard at all, nothing is asked.
    """
    if not sound.heard or was_heard(store, person.code):
        return done()
    return heard_page(store, person, sound, done, make, wall=wall)


def heard_page(
    store: Store, person: Person, sound: Sound, done: Next, make: Maker, *, wall: Wall
) -> SoundPage:
    """Make the page of the sound for a person; one that was silenced is heard again."""
    if not sound.speaks:
        sound.voice = True
        sound.volume_percent = sound.volume_percent or Comfort().volume_percent

    return sound_page(sound, _kept_for(store, person, wall), done, make)


def _kept_for(store: Store, person: Person, wall: Wall) -> Keep:
    """Return what keeps a volume for a person, who chose it."""

    def keep(volume_percent: int, voice: bool) -> None:
        keep_comfort(
            store, person.code, author=person.code, at_utc=utc_text(wall()),
            volume_percent=volume_percent, voice=voice,
        )  # fmt: skip

    return keep


def sound_on_screen(
    store: Store, person: Person, *, windowed: bool, large: bool, wall: Wall
) -> str:
    """Let a person choose how loud it is, in a window; say what is kept.

    Raises
    ------
    BatteryError
        No screen, or a store that cannot be written.
    """
    _, known = load_device(store)
    with comfortable_window(
        comfort_of(store, person.code), windowed=windowed, known=known
    ) as window:
        if window.sound.note:
            return f"{window.sound.note}; nothing was changed"

        def closed() -> Page | None:
            return None

        make = Maker(
            large=large,
            side=person.dominant_hand,
            stopped=lambda back: back(),
            help_page=None,
            staff_page=None,
        )
        page = sound_page(window.sound, _kept_for(store, person, wall), closed, make)
        run_pages(window, page, large=large)
    return f"{person.code}: {comfort_of(store, person.code).in_words()}"
