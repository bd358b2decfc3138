"""Which tablets' keys are accepted at the clinic; what is said of them stands in its log."""

from __future__ import annotations

from battery.clinic_changes import ClinicChange, clinic_changes, note_change
from battery.store import Store


def accept_tablet(
    store: Store, fingerprint: str, public_key: str, device: str, *, author: str, at_utc: str
) -> None:
    """Accept a tablet's key from now on; one that is accepted stays as it is.

    Raises
    ------
    UsageError
        If another key of the same fingerprint is accepted.
    """
    with store.together():
        known = {tablet.fingerprint for tablet in store.transfer.tablets()}
        store.transfer.accept_tablet(
            fingerprint, public_key, device, author=author, at_utc=at_utc
        )
        if fingerprint not in known:
            change = ClinicChange(at_utc, author, f"tablet:{fingerprint}", "", device)
            note_change(store, change)


def drop_tablet(store: Store, fingerprint: str, *, author: str, at_utc: str) -> None:
    """Accept a lost tablet's key no longer; what it sent before stays.

    What it sends from now on waits for a choice, as that of a tablet nobody knows.

    Raises
    ------
    UsageError
        If no accepted tablet has this key.
    """
    with store.together():
        known = {tablet.fingerprint: tablet for tablet in store.transfer.tablets()}
        store.transfer.drop_tablet(fingerprint)
        what, device = f"tablet:{fingerprint}", ""
        if (tablet := known.get(fingerprint)) is not None:
            device = tablet.device
            if what not in {change.what for change in clinic_changes(store)}:
                # Accepted before that was noted; it would be told by nothing from now on.
                was = ClinicChange(tablet.accepted_utc, tablet.author, what, "", device)
                note_change(store, was)
        note_change(store, ClinicChange(at_utc, author, what, device, ""))
