"""Whether the voice and the tone can be heard: louder, softer, or no sound at all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from battery.stage import texts
from battery.stage.canvas import Button, Canvas
from battery.stage.making import Next
from battery.stage.pages import Page, TextPage
from battery.stage.pressing import Presses
from battery.stage.sound import LOUDEST, Sound
from battery.stage.speech import files_of

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


def sound_page(sound: Sound, keep: Keep, done: Next, **shared: Any) -> SoundPage:
    """Make the page.

    Parameters
    ----------
    sound : Sound
        Speaks from now on as was chosen.
    keep : callable
        Gets the volume in percent and whether pages are spoken.
    done : callable
        Returns the page that follows.
    """

    def after(key: str) -> Page | None:
        if key == "none":
            sound.volume_percent, sound.voice = 0, False
        if key in ("go", "none"):
            keep(sound.volume_percent, sound.voice)
        return done()

    return SoundPage(
        "sound",
        texts.SOUND_TITLE,
        texts.SOUND_LINES,
        (),
        after,
        choices=CHOICES,
        **shared,
    )
