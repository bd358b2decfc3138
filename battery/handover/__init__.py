"""From the tablet to the clinic through a folder: signed, sealed, safe to repeat.

A tablet writes one bundle for every visit, signs it with its own key and seals it to the keys
of the clinic, so that nobody who finds the folder can read or forge it, the tablet included.
The clinic merges by visit and content, keeps contradictions apart until a person chooses, and
answers with a signed receipt.
"""

from battery.handover.alarming import waiting_alarms, waiting_lines
from battery.handover.keys import held_keys, make_clinic_keys, make_tablet_keys, show_keys
from battery.handover.receiving import receive
from battery.handover.sending import send
from battery.handover.waiting import (
    clear_folder,
    erase_everywhere,
    leave_out,
    list_waiting,
    take,
)

__all__ = [
    "clear_folder",
    "erase_everywhere",
    "held_keys",
    "leave_out",
    "list_waiting",
    "make_clinic_keys",
    "make_tablet_keys",
    "receive",
    "send",
    "show_keys",
    "take",
    "waiting_alarms",
    "waiting_lines",
]
