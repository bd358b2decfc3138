"""Short soft tones. A second channel, never the only one; silence where there is no device."""

from __future__ import annotations

import numpy as np
import pygame

RATE_HZ = 44_100
TONE_HZ, TONE_S, LOUDNESS = 660.0, 0.12, 0.25


class Tones:
    """The go tone, or nothing at all."""

    def __init__(self) -> None:
        self._tone: pygame.mixer.Sound | None = None
        try:
            pygame.mixer.init(RATE_HZ, -16, 1, 256)
            t_s = np.arange(int(TONE_S * RATE_HZ)) / RATE_HZ
            fade = np.minimum(1, np.minimum(t_s, TONE_S - t_s) / 0.02)
            wave = LOUDNESS * fade * np.sin(2 * np.pi * TONE_HZ * t_s)
            self._tone = pygame.mixer.Sound(buffer=(32_767 * wave).astype(np.int16).tobytes())
        except pygame.error:
            pygame.mixer.quit()

    def play(self) -> None:
        """Sound the tone and return at once."""
        if self._tone is not None:
            self._tone.play()

    def close(self) -> None:
        """Let go of the sound device."""
        self._tone = None
        pygame.mixer.quit()
