"""Short soft tones and the voice. A second channel, never the only one.

Without a sound device, or where a file cannot be played, the stage goes on in silence and
`note` says why.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pygame

from battery.looks import LOUDEST

Tone = Literal["go", "beat", "over"]

RATE_HZ = 44_100
LOUDNESS = 0.25
# Pitch, length of one tone and how often it sounds: for a cue, a beat and the end of a minute.
TONES: Mapping[Tone, tuple[float, float, int]] = {
    "go": (660.0, 0.12, 1),
    "beat": (880.0, 0.05, 1),
    "over": (520.0, 0.3, 3),
}
PAUSE_S = 0.45  # between two sentences
VOICE_CHANNEL = 0
KEPT_SENTENCES = 96  # a visit says 75, which are 24 MB


class Sound:
    """The go tone and spoken sentences, or nothing at all.

    Parameters
    ----------
    volume_percent : int
        0 is silence; the tones and the voice have it in common.
    voice : bool
        Whether sentences are spoken.

    Attributes
    ----------
    note : str
        Why nothing is heard that should be; empty where all is well.
    """

    def __init__(self, *, volume_percent: int = 70, voice: bool = True) -> None:
        self.voice = voice
        self.note = ""
        self._volume = volume_percent / LOUDEST
        self._tones: dict[Tone, pygame.mixer.Sound] = {}
        try:
            pygame.mixer.init(RATE_HZ, -16, 1, 256, allowedchanges=0)
            pygame.mixer.set_reserved(1)
            for name, tone in TONES.items():
                self._tones[name] = pygame.mixer.Sound(buffer=_wave(*tone).tobytes())
        except pygame.error as error:
            pygame.mixer.quit()
            self.note = f"no sound: {error}"

    @property
    def heard(self) -> bool:
        """Whether there is a device and the volume is not 0."""
        return bool(self._tones) and self._volume > 0

    @property
    def speaks(self) -> bool:
        """Whether sentences are spoken and can be heard."""
        return self.voice and self.heard

    @property
    def volume_percent(self) -> int:
        """Loudness, 0 to 100; it may be changed at any time."""
        return round(self._volume * LOUDEST)

    @volume_percent.setter
    def volume_percent(self, percent: int) -> None:
        self._volume = min(max(percent, 0), LOUDEST) / LOUDEST

    def play(self, tone: Tone = "go") -> None:
        """Sound a tone and return at once."""
        if self.heard:
            self._tones[tone].set_volume(self._volume)
            self._tones[tone].play()

    def speak(self, files: Iterable[Path]) -> bool:
        """Begin to say sentences one after another, in place of what is being said.

        Returns
        -------
        bool
            Whether anything is said: not without a device, a voice, a volume or a file.
        """
        self.hush()
        if not self.speaks:
            return False
        parts = [part for part in map(self._raw, files) if part]
        if not parts:
            return False
        pause = bytes(2 * round(PAUSE_S * RATE_HZ))
        sentence = pygame.mixer.Sound(buffer=pause.join(parts))
        sentence.set_volume(self._volume)
        pygame.mixer.Channel(VOICE_CHANNEL).play(sentence)
        return True

    def _raw(self, path: Path) -> bytes:
        try:
            return _decoded(path, pygame.mixer.get_init())
        except (pygame.error, OSError):
            self.note = f"not spoken: {path.name} is missing or cannot be played"
            return b""

    @property
    def speaking(self) -> bool:
        """Whether a sentence is being said."""
        return bool(self._tones) and pygame.mixer.Channel(VOICE_CHANNEL).get_busy()

    def hush(self) -> None:
        """Stop speaking."""
        if self._tones:
            pygame.mixer.Channel(VOICE_CHANNEL).stop()

    def close(self) -> None:
        """Let go of the sound device."""
        self._tones.clear()
        pygame.mixer.quit()


@lru_cache(maxsize=KEPT_SENTENCES)
def _decoded(path: Path, form: tuple[int, int, int]) -> bytes:
    """Return a file as samples for the device; unpacking one takes as long as a frame."""
    del form  # what was unpacked for one is nothing to another
    return pygame.mixer.Sound(str(path)).get_raw()


def _wave(hz: float, length_s: float, times: int) -> np.ndarray[Any, np.dtype[np.int16]]:
    t_s = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    fade = np.minimum(1, np.minimum(t_s, length_s - t_s) / 0.02)
    one = (32_767 * LOUDNESS * fade * np.sin(2 * np.pi * hz * t_s)).astype(np.int16)
    silence = np.zeros(len(one) // 2 if times > 1 else 0, dtype=np.int16)
    return np.tile(np.concatenate([one, silence]), times)
