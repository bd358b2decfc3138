"""Measures of a record's quality, the same family for every task: flags stand on them."""

from __future__ import annotations

from battery.scoring.measure import OWN, WILSON, Measure


def quality(task: str, *, trial: str, value: str) -> tuple[Measure, ...]:
    """Define the family for one task.

    Parameters
    ----------
    task : str
    trial : str
        What a trial is called, in the plural.
    value : str
        What is compared between the first and the last third.
    """
    return (
        Measure(
            f"{task}.late_change_sd",
            "Last third less first third",
            f"Mean {value} of the last third of {trial} less that of the first third, over "
            "the standard deviation of all; positive is worse.",
            "1",
            "none",
            OWN,
            log_scale=False,
            limits="Tells of tiring, of haste and of practice alike; by chance alone over 1 in "
            "some 3 of 100 blocks of 20.",
            needs=f"12 {trial}",
            detail=True,
            since=2,
            width="none",
        ),
        Measure(
            f"{task}.extra_contact_share",
            "Share with a second contact",
            f"Share of {trial} during which another finger or the palm touched the glass.",
            "1",
            "none",
            WILSON,
            log_scale=False,
            detail=True,
            since=2,
        ),
        Measure(
            f"{task}.gap_share",
            "Share of gaps between reports",
            "Share of the intervals between two reports of one contact over 50 ms in which the "
            "pointer moved.",
            "1",
            "none",
            OWN,
            log_scale=False,
            limits="A pointer that rests is silent on many devices; that is no gap.",
            needs="20 intervals",
            detail=True,
            since=2,
        ),
        Measure(
            f"{task}.queued_share",
            "Share of queued reports",
            "Share of the reports of motion that were read together with the next one, so that "
            "their stamps say when they were read and not when they were made.",
            "1",
            "none",
            OWN,
            log_scale=False,
            limits="Of reports read together the last counts.",
            needs="20 intervals",
            detail=True,
            since=3,
        ),
    )
