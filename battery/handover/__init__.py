"""From the tablet to the clinic through a folder: signed, sealed, safe to repeat.

A tablet writes one bundle for every visit, signs it with its own key and seals it to the keys
of the clinic, so that nobody who finds the folder can read or forge it, the tablet included.
The clinic merges by visit and content, keeps contradictions apart until a person chooses, and
answers with a signed receipt.
"""

from battery.handover.alarming import waiting_alarms, waiting_lines
from battery.handover.both_sides import both_sides
from battery.handover.keys import (
    clinic_mark,
    held_keys,
    make_clinic_keys,
    make_tablet_keys,
    show_keys,
)
from battery.handover.marks import mark_pictures, mark_words
from battery.handover.person_card import (
    PersonCard,
    person_cards,
    take_person_card,
    write_person_card,
)
from battery.handover.receiving import receive
from battery.handover.sending import send
from battery.handover.tablets import accept_tablet, drop_tablet
from battery.handover.waiting import (
    choices,
    clear_folder,
    erase_everywhere,
    leave_out,
    list_waiting,
    take,
)

__all__ = [
    "PersonCard",
    "accept_tablet",
    "both_sides",
    "choices",
    "clear_folder",
    "clinic_mark",
    "drop_tablet",
    "erase_everywhere",
    "held_keys",
    "leave_out",
    "list_waiting",
    "make_clinic_keys",
    "make_tablet_keys",
    "mark_pictures",
    "mark_words",
    "person_cards",
    "receive",
    "send",
    "show_keys",
    "take",
    "take_person_card",
    "waiting_alarms",
    "waiting_lines",
    "write_person_card",
]
