"""Opening again what waits in the store."""

from __future__ import annotations

import base64

from battery.errors import HandoverError
from battery.handover.bundle_reading import open_content
from battery.store import Store
from battery.store.arrival import Arrival
from battery.store.merging import Waiting


def opened(store: Store, item: Waiting) -> Arrival:
    """Open what waits, as far as it was signed.

    Raises
    ------
    HandoverError
        If it says what cannot be.
    """
    content, public_key = store.transfer.quarantined_content(item.item_id)
    try:
        public = base64.b64decode(public_key, validate=True)
    except ValueError as error:
        msg = "the key that it was signed with cannot be read; it was left where it waits"
        raise HandoverError(msg) from error
    return open_content(content, public)
