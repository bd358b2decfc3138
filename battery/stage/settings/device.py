"""What this machine knows about itself: its alias and the screens measured on it."""

from __future__ import annotations

import json
import platform
import random
from dataclasses import asdict
from pathlib import Path

import platformdirs

from battery import forms
from battery.errors import StoreError
from battery.files import make_folder, replace_whole
from battery.people import CODE_ALPHABET
from battery.recording import Device, Screen
from battery.store import Store

DEVICE_FILE = "device.json"
Screens = dict[tuple[int, int], Screen]


def device_path(store: Store) -> Path:
    """Return the file that knows this machine; beside the store if that is on this machine."""
    folder = store.folder or platformdirs.user_data_path(
        "coordination-battery", appauthor=False
    )
    return folder / DEVICE_FILE


def load_device(store: Store) -> tuple[str, Screens]:
    """Return this machine's alias, made at random once, and the screens measured on it.

    Raises
    ------
    StoreError
        If the file cannot be read or made.
    """
    path = device_path(store)
    try:
        if path.is_file():
            values = json.loads(path.read_text(encoding="utf-8"))
            for told in values["screens"]:
                forms.hold(forms.DeviceForm, {"alias": values["alias"], "screen": told})
            screens = [Screen(**screen) for screen in values["screens"]]
            return values["alias"], {(s.width_px, s.height_px): s for s in screens}
    except (OSError, ValueError, KeyError, TypeError) as error:
        msg = f"'{path}' cannot be read ({error}); move it away and measure the screen again"
        raise StoreError(msg) from error
    letters = random.SystemRandom().choices(CODE_ALPHABET, k=4)
    alias = "T-" + "".join(letters)
    save_device(store, alias, {})
    return alias, {}


def save_device(store: Store, alias: str, screens: Screens) -> None:
    """Write this machine's file, all or nothing.

    Raises
    ------
    StoreError
        If it cannot be written.
    """
    path = device_path(store)
    values = {"alias": alias, "screens": [asdict(s) for s in screens.values()]}
    try:
        make_folder(path.parent)
        replace_whole(path, json.dumps(values, indent=1).encode())
    except OSError as error:
        msg = f"cannot write '{path}': {error.strerror or error}; nothing was changed"
        raise StoreError(msg) from error


def keep_screen(
    store: Store, alias: str, known: Screens, screen: Screen, *, at_utc: str
) -> None:
    """Store a measured screen, for this machine and as a record."""
    known[screen.width_px, screen.height_px] = screen
    save_device(store, alias, known)
    store.setup.put_device(Device(alias, screen, system_name()))
    by_card = screen.scale_source == "card"
    store.setup.put_screen_check(alias, screen, "card" if by_card else "ruler", at_utc=at_utc)


def system_name() -> str:
    """Name of the operating system and processor."""
    return f"{platform.system()} {platform.machine()}"
