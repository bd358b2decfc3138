"""What may hurt somebody, said in one place: signs, reasons to ask first, intended use.

The page, the list, README and the stage's texts say the same; tests hold them to it. The lists
are common practice in neuro-rehabilitation and stroke first aid; the wording is our own.
"""

from __future__ import annotations

from collections.abc import Mapping

# When to call the emergency number; all of them new.
SIGNS = (
    "sudden drooping of the face",
    "sudden weakness or numbness of an arm or leg",
    "sudden trouble speaking or understanding",
    "sudden loss of vision",
    "sudden severe headache",
    "sudden loss of balance",
    "a seizure",
    "fainting",
    "new confusion",
    "chest pain",
)
SIGNS_AFTER_HEAD_INJURY = (
    "a headache that gets worse",
    "repeated vomiting",
    "drowsiness",
    "pupils of unequal size",
)
STOP_ON = (
    "dizziness that rises",
    "double or newly blurred vision",
    "nausea",
    "new or rising pain",
    "unusual tiredness",
    "palpitations",
    "faintness",
)
# What to ask a clinician about before the first visit.
CONTRAINDICATIONS: Mapping[str, str] = {
    "neck": "recent neck injury or surgery, an unstable neck, or a suspected torn neck artery",
    "surgery": "eye, ear or brain surgery or a detached retina, not cleared yet",
    "acute": "the acute phase of a stroke, or another unstable medical state",
    "seizures": "uncontrolled seizures, or seizures set off by light",
    "pressure": "uncontrolled blood pressure",
    "arm": "a fracture, wound, lymphoedema, fragile skin or recent surgery of an arm",
    "pain": "severe pain",
    "consent": "a person who cannot consent, with no responsible adult present",
}
INTENDED_USE = (
    "Intended use: to record, describe and compare weekly coordination tests of people under "
    "the care of a licensed clinician, for research, education and the chart. It is not "
    "intended to diagnose, to monitor a person or a therapy where treatment is decided on it "
    "alone, to raise an emergency, or to recommend treatment or dose. What it shows supports "
    "and never replaces a clinician's judgement. It is not a cleared or certified medical "
    "device."
)


def listed(names: tuple[str, ...], last: str = "or") -> str:
    """Join names as one speaks them."""
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def call_words() -> str:
    """Say when to call the emergency number."""
    return (
        f"Call the emergency number on {listed(SIGNS)}; after a head injury also on "
        f"{listed(SIGNS_AFTER_HEAD_INJURY)}."
    )


def stop_words() -> str:
    """Say when to stop a visit."""
    return f"Stop the test on {listed(STOP_ON)}; sit, rest, tell the therapist."


def contraindication_words() -> str:
    """Say what to ask about before the first visit."""
    *items, last = CONTRAINDICATIONS.values()  # which hold commas of their own
    return f"Ask a clinician before starting in case of {'; '.join(items)}; or {last}."
