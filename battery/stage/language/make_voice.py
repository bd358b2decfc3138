"""Make the sound files of what is spoken: ``python -m battery.stage.language.make_voice``.

Needs the program espeak-ng (Debian: ``apt install espeak-ng``) and the Python package
soundfile, which comes with the extra ``test``. Makes the files that are missing, removes those
that nothing asks for, and says how large it all is. What a program under the GPL puts out is
not covered by its licence, so the files belong to this project.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from battery.looks import OWN_NAMES
from battery.stage.language.languages import Language, language
from battery.stage.language.speech import VOICES, everything, file_of

SPEAKERS = {"en": "en-gb", "de": "de"}
WORDS_PER_MIN = 140  # the engine's own pace is 175
ENGINE_HZ, FILE_HZ = 22_050, 16_000
SMALL = 0.97  # of the encoder's scale from 0 to 1: about 13 kbit a second
EDGE_S = 0.15


def spoken(said: str, code: str) -> bytes:
    """Return a sentence as an Ogg Opus file, mono."""
    engine = shutil.which("espeak-ng")
    if engine is None:
        sys.exit("espeak-ng is not there; install it (Debian: apt install espeak-ng)")
    made = subprocess.run(
        [engine, "-v", SPEAKERS[code], "-s", str(WORDS_PER_MIN), "--stdout"],
        input=said.encode(), capture_output=True, check=True,
    ).stdout  # fmt: skip
    wave, rate_hz = soundfile.read(io.BytesIO(made), dtype="float64")
    if rate_hz != ENGINE_HZ:
        sys.exit(f"espeak-ng gave {rate_hz} Hz, not {ENGINE_HZ}")
    wave = resample_poly(wave, FILE_HZ // 50, ENGINE_HZ // 50)
    edge = np.zeros(round(EDGE_S * FILE_HZ))
    out = io.BytesIO()
    soundfile.write(
        out, np.concatenate([edge, wave, edge]), FILE_HZ, format="OGG", subtype="OPUS",
        compression_level=SMALL,
    )  # fmt: skip
    return out.getvalue()


def wanted(spoken_language: Language) -> dict[Path, str]:
    """Return the files a language needs and what each says."""
    return {file_of(spoken_language, text): spoken_language.say(text) for text in everything()}


def main() -> None:
    """Bring the files of every language up to the texts."""
    for code in OWN_NAMES:
        files = wanted(language(code))
        folder = VOICES / code
        folder.mkdir(parents=True, exist_ok=True)
        for path in set(folder.iterdir()) - set(files):
            path.unlink()
        new = [path for path in files if not path.exists()]
        for path in new:
            path.write_bytes(spoken(files[path], code))
        size_kb = sum(path.stat().st_size for path in files) / 1000
        sys.stdout.write(f"{code}: {len(files)} files, {len(new)} new, {size_kb:.0f} kB\n")


if __name__ == "__main__":
    main()
