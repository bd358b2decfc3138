"""Short soft tones and the voice. A second channel, never the only one.

Without a sound device, or where a file cannot be played, the stage goes on in silence and
`note` says why.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pygame

RATE_HZ = 44_100
TONE_HZ, TONE_S, LOUDNESS = 660.0, 0.12, 0.25
PAUSE_S = 0.45  # between two sentences
VOICE_CHANNEL = 0
LOUDEST = 100


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
        self._tone: pygame.mixer.Sound | None = None
        try:
            pygame.mixer.init(RATE_HZ, -16, 1, 256, allowedchanges=0)
            pygame.mixer.set_reserved(1)
            self._tone = pygame.mixer.Sound(buffer=_tone_wave().tobytes())
        except pygame.error as error:
            pygame.mixer.quit()
            self.note = f"no sound: {error}"

    @property
    def heard(self) -> bool:
        """Whether there is a device and the volume is not 0."""
        return self._tone is not None and self._volume > 0

    @property
    def volume_percent(self) -> int:
        """Loudness, 0 to 100; it may be changed at any time."""
        return round(self._volume * LOUDEST)

    @volume_percent.setter
    def volume_percent(self, percent: int) -> None:
        self._volume = min(max(percent, 0), LOUDEST) / LOUDEST

    def play(self) -> None:
        """Sound the tone and return at once."""
        if self._tone is not None and self._volume > 0:
            self._tone.set_volume(self._volume)
            self._tone.play()

    def speak(self, files: Iterable[Path]) -> bool:
        """Begin to say sentences one after another, in place of what is being said.

        Returns
        -------
        bool
            Whether anything is said: not without a device, a voice, a volume or a file.
        """
        self.hush()
        if not (self.voice and self.heard):
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
            return pygame.mixer.Sound(str(path)).get_raw()
        except (pygame.error, OSError):
            self.note = f"not spoken: {path.name} is missing or cannot be played"
            return b""

    @property
    def speaking(self) -> bool:
        """Whether a sentence is being said."""
        return self._tone is not None and pygame.mixer.Channel(VOICE_CHANNEL).get_busy()

    def hush(self) -> None:
        """Stop speaking."""
        if self._tone is not None:
            pygame.mixer.Channel(VOICE_CHANNEL).stop()

    def close(self) -> None:
        """Let go of the sound device."""
        self._tone = None
        pygame.mixer.quit()


def _tone_wave() -> np.ndarray[tuple[int], np.dtype[np.int16]]:
    t_s = np.arange(int(TONE_S * RATE_HZ)) / RATE_HZ
    fade = np.minimum(1, np.minimum(t_s, TONE_S - t_s) / 0.02)
    wave = LOUDNESS * fade * np.sin(2 * np.pi * TONE_HZ * t_s)
    return (32_767 * wave).astype(np.int16)
