"""What was fitted to the pools of a plan, packed, so that the next start need not fit it again.

Beside each fit stand signs of what it was fitted to, so whoever reads it takes no more of it
than a fresh fit would give.
"""

from __future__ import annotations

import json
import sys
from array import array
from dataclasses import astuple, fields, replace
from itertools import chain

from battery.report.keeping import LITTLE
from battery.report.page_rows import Fit
from battery.report.pooling import Fits
from norms.scatter import Prior

N_VALUES = len(fields(Prior)) - 2  # of a week, which has no weeks of its own
COUNTS = tuple(i for i, f in enumerate(fields(Prior)) if f.name in ("n_people", "n_visits"))
SIGN_BYTES = 16


def packed_fits(fits: Fits) -> bytes:
    """Pack what was fitted to the pools of one plan; what tells no signs is left out."""
    head, values, signs = [], array("d"), []
    for (_, place), by_scale in fits.items():
        for log_scale, fit in by_scale.items():
            weeks = fit.prior.by_week if fit.prior else ()
            if not fit.sign or len(weeks) != len(fit.by_week) or bool(weeks) != bool(fit.prior):
                continue
            first = fit.prior.first_week if fit.prior else 0
            head.append([*place, log_scale, first, len(weeks)])
            values.extend(chain.from_iterable(astuple(week)[:N_VALUES] for week in weeks))
            signs += [fit.sign, *fit.by_week]
    if not LITTLE:
        values.byteswap()
    told = json.dumps(head, separators=(",", ":")).encode()
    return len(told).to_bytes(4, "little") + told + values.tobytes() + b"".join(signs)


def unpacked_fits(packed: bytes, plan: str) -> Fits:
    """Return what was packed by `packed_fits`.

    Raises
    ------
    ValueError, TypeError, LookupError
        If it is nothing of this form.
    """
    end = 4 + int.from_bytes(packed[:4], "little")
    head = json.loads(packed[4:end])
    n_weeks = sum(n for *_, n in head)
    after = end + n_weeks * N_VALUES * array("d").itemsize
    if len(packed) != after + SIGN_BYTES * (n_weeks + len(head)):
        msg = f"{len(packed)} bytes are not what {n_weeks} weeks take"
        raise ValueError(msg)
    values = array("d", packed[end:after])
    if not LITTLE:
        values.byteswap()
    columns = [values[i::N_VALUES].tolist() for i in range(N_VALUES)]
    for i in COUNTS:
        columns[i] = [int(value) for value in columns[i]]
    weeks = tuple(Prior(*row) for row in zip(*columns, strict=True))
    signs = tuple(packed[i : i + SIGN_BYTES] for i in range(after, len(packed), SIGN_BYTES))
    found: dict[tuple[str, tuple[str, str]], dict[bool, Fit]] = {}
    start = 0
    for n, (name, role, log_scale, first, length) in enumerate(head):
        own, of_pool = weeks[start : start + length], start + n
        prior = replace(own[-1], first_week=first, by_week=own) if own else None
        fit = Fit(prior, signs[of_pool], signs[of_pool + 1 : of_pool + 1 + length])
        place = sys.intern(name), sys.intern(role)
        found.setdefault((plan, place), {})[bool(log_scale)] = fit
        start += length
    return found
