"""Moments as every record, row and file writes them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def utc_text(moment: datetime, timespec: str = "milliseconds") -> str:
    """Write a moment in UTC, ISO 8601 with offset +00:00.

    Parameters
    ----------
    moment : datetime
        With its zone.
    timespec : str
        How fine, as `datetime.isoformat` takes it; where the later of two rows holds, finer
        than two rows can follow each other.

    Raises
    ------
    ValueError
        If the moment has no zone: it could be any hour of the day.

    Examples
    --------
    >>> utc_text(datetime.fromisoformat("2026-03-02T00:30:00+01:00"))
    '2026-03-01T23:30:00.000+00:00'
    """
    if moment.utcoffset() is None:
        msg = f"{moment=} must have a zone"
        raise ValueError(msg)
    return moment.astimezone(UTC).isoformat(timespec=timespec)


def length_words(length: timedelta) -> str:
    """Say how long something is in the unit that people would say it in.

    Parameters
    ----------
    length : timedelta
        From 0 on.

    Examples
    --------
    >>> [length_words(timedelta(minutes=n)) for n in (6, 119, 120, 2879, 2880, 10532)]
    ['6 min', '119 min', '2 h', '48 h', '2 days', '7 days']
    """
    for unit, word, least in ((DAY, "days", 2), (HOUR, "h", 2)):
        if length >= least * unit:
            return f"{length / unit:.0f} {word}"
    return f"{length / timedelta(minutes=1):.0f} min"
