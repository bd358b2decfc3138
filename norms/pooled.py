"""What everybody's visits tell of scatter and dependence, as it was known week by week."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import replace
from hashlib import blake2b
from itertools import accumulate, chain, takewhile

import numpy as np
from numpy.typing import NDArray

from norms.autocorrelation import autocorrelation_by_week
from norms.scatter import MIN_PEOPLE, Prior, fit_prior, transform, week_of
from norms.spread import differences, spread_of_person

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def pool(
    groups: Sequence[Sequence[float]],
    *,
    log_scale: bool,
    series: Sequence[Sequence[float] | Floats] = (),
    weeks: Sequence[Sequence[int]] = (),
    owners: Sequence[Hashable] = (),
    n_people: int | None = None,
    known: Sequence[Prior] = (),
) -> Prior | None:
    """Estimate the scatter of everybody from their baseline visits and those that followed.

    Parameters
    ----------
    groups : sequence of sequences
        The baseline values, one group a person. Groups of fewer than two are passed over.
    series : sequence of sequences, optional
        For each group all comparable visits of that person in order, the baseline first: how
        much one visit resembles the next and how later visits scatter is estimated from them.
        Left out, visits are taken as independent.
    weeks : sequence of sequences, optional
        For each of these series the weeks of its visits (`weeks_of`). Left out, all is taken as
        known from the first.
    owners : sequence, optional
        For each group whose it is, where one may stand there with both hands.
    n_people : int, optional
        People behind the groups at most.
    known : sequence of Prior, optional
        What was known at the end of the first weeks, where an earlier pooling tells it: up to
        `n_alike`. They are not computed again.

    Returns
    -------
    Prior or None
        As it is known now, and with weeks also as it was at the end of each. With fewer
        than three people, or where nobody's visits differ at all, its `df` is 0: it knows no
        scatter, only the autocorrelation. None with nobody at all.
    """
    useful = [i for i, group in enumerate(groups) if len(group) >= 2]
    if not useful:
        return None
    whole = _transformed([(series or groups)[i] for i in useful], log_scale=log_scale)
    k = np.array([len(groups[i]) for i in useful])
    length = np.array([len(values) for values in whole])
    first, counts = 0, length[np.newaxis]
    if series and weeks:
        first, counts = _counts([weeks[i] for i in useful], k)
    known = known[: len(counts) - 1]
    counts = counts[len(known) :]
    there = counts >= k
    counts = np.where(there, counts, 0)
    rho = np.zeros(len(counts))
    if series:
        rho = autocorrelation_by_week(whole, k, counts)
    people = _people([owners[i] for i in useful] if owners else range(len(useful)), there)
    if n_people:
        people = np.minimum(people, n_people)
    found = _priors(whole, k, counts, rho, people)
    if not (series and weeks):
        return found[-1]
    return replace(found[-1], first_week=first, by_week=(*known, *found))


def week_signs(
    series: Sequence[Sequence[float] | Floats],
    weeks: Sequence[Sequence[int]],
    n_baseline: Sequence[int],
    owners: Sequence[Hashable],
) -> tuple[bytes, ...]:
    """Return for each week that `pool` tells of a sign of the visits that enter with it.

    The past stays as it was known: what a later pooling says of the first weeks is what an
    earlier one said, up to the first whose sign is another one (`n_alike`).

    Parameters
    ----------
    series, weeks, owners : sequences
        As for `pool`, each with its baseline.
    n_baseline : sequence of int
        Visits of each baseline.

    Returns
    -------
    tuple of bytes
        The first tells of all visits until the first complete baseline. Every one tells of
        whose series there are too, in order. Empty where no baseline has two visits.
    """
    useful = [own[k - 1] for own, k in zip(weeks, n_baseline, strict=True) if k >= 2]
    if not useful:
        return ()
    first = min(useful)
    lengths = [len(own) for own in weeks]
    each = np.fromiter(chain.from_iterable(weeks), np.int32, sum(lengths))
    since_first = np.maximum(each - first, 0)
    order = np.lexsort((since_first,))  # who began alike stay in order
    visits = np.empty((len(order), 2))
    visits[:, 0] = np.repeat(np.arange(len(lengths)), lengths)[order]
    visits[:, 1] = np.concatenate([np.asarray(own, dtype=float) for own in series])[order]
    ends = np.searchsorted(since_first[order], np.arange(since_first[order[-1]] + 1), "right")
    told = repr((first, list(n_baseline), list(owners))).encode("utf-8", "backslashreplace")
    head, whole, found, start = blake2b(told, digest_size=16), visits.tobytes(), [], 0
    for end in (ends * visits.strides[0]).tolist():
        sign = head.copy()
        sign.update(whole[start:end])
        found.append(sign.digest())
        start = end
    return tuple(found)


def n_alike(signs: Sequence[bytes], earlier: Sequence[bytes]) -> int:
    """Count the first weeks whose signs are the same."""
    pairs = zip(signs, earlier, strict=False)
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], pairs))


def weeks_of(days: Iterable[float]) -> list[int]:
    """Return the weeks of visits in order; one of no known day has that of the one before."""
    numbers = (week_of(day) if math.isfinite(day) else 0 for day in days)
    return list(accumulate(numbers, max))


def _counts(weeks: Sequence[Sequence[int]], n_baseline: Ints) -> tuple[int, Ints]:
    """Return the week of the first complete baseline, and everybody's visits by each week."""
    first = min(own[k - 1] for own, k in zip(weeks, n_baseline, strict=True))
    known = np.arange(first, max(own[-1] for own in weeks) + 1)
    counts = np.zeros((len(weeks), len(known)), dtype=np.int64)
    people = np.repeat(np.arange(len(weeks)), [len(own) for own in weeks])
    since_first = np.fromiter(chain.from_iterable(weeks), np.int64, len(people)) - first
    np.add.at(counts, (people, np.maximum(since_first, 0)), 1)
    return first, np.ascontiguousarray(counts.cumsum(axis=1).T)


def _people(owners: Sequence[Hashable], there: NDArray[np.bool_]) -> Ints:
    """Count people, who may stand there more than once, shape (n_weeks,)."""
    numbers = {owner: n for n, owner in enumerate(dict.fromkeys(owners))}
    whose = np.array([numbers[owner] for owner in owners])
    order = np.argsort(whose)
    starts = np.flatnonzero(np.diff(whose[order], prepend=-1))
    return np.asarray(np.logical_or.reduceat(there[:, order], starts, axis=1).sum(axis=1))


def _priors(
    series: Sequence[Floats], n_baseline: Ints, counts: Ints, rho: Floats, people: Ints
) -> list[Prior]:
    """Return what was known each week of the visits that had been."""
    found = [Prior(0.0, 0.0, 0, 0, float(own)) for own in rho]
    there = counts > 0
    enough = np.flatnonzero((people >= MIN_PEOPLE) & (there.sum(axis=1) >= MIN_PEOPLE))
    if not len(enough):
        return found
    variances, df = _own_scatter(series, n_baseline, counts[enough], rho[enough])
    there = there[enough]
    differ = np.nanmedian(np.where(there, variances, np.nan), axis=-1) > 0
    weeks, variances, df, there = enough[differ], variances[differ], df[differ], there[differ]
    if not len(weeks):
        return found
    fitted = fit_prior(variances, df, there=there)
    of_person = np.where(there, df, 0.0).sum(axis=-1) / there.sum(axis=-1)
    n_visits = counts.sum(axis=-1)
    for week, variance, worth, own in zip(weeks, *fitted, of_person, strict=True):
        found[week] = Prior(
            float(variance),
            float(worth),
            int(people[week]),
            int(n_visits[week]),
            float(rho[week]),
            float(own),
        )
    return found


def _transformed(
    series: Sequence[Sequence[float] | Floats], *, log_scale: bool
) -> list[Floats]:
    """Bring series to the scale of comparison; those of one length go together."""
    alike: dict[int, list[int]] = {}
    for i, values in enumerate(series):
        alike.setdefault(len(values), []).append(i)
    found: list[Floats] = [np.empty(0)] * len(series)
    for places in alike.values():
        rows = transform(np.array([series[i] for i in places]), log_scale=log_scale)
        for i, row in zip(places, rows, strict=True):
            found[i] = row
    return found


def _own_scatter(
    series: Sequence[Floats], n_baseline: Ints, counts: Ints, rho: Floats
) -> tuple[Floats, Floats]:
    """Return everybody's own variance and its degrees of freedom, shape (n_weeks, n_people).

    Series alike go together. Of who is not there yet, what the baseline will tell is returned.
    """
    alike: dict[tuple[int, int], list[int]] = {}
    for i, (k, whole) in enumerate(zip(n_baseline.tolist(), series, strict=True)):
        alike.setdefault((k, len(whole)), []).append(i)
    variances, df = np.empty(counts.shape), np.empty(counts.shape)
    for (k, _), places in alike.items():
        stacked = np.array([series[i] for i in places])
        until = np.maximum(counts[:, places].T - k, 0)
        squares, more_df = differences(stacked[:, k:], from_look=max(int(until.min()) - 1, 0))
        added = np.take_along_axis(np.insert(squares, 0, 0.0, axis=-1), until, axis=-1)
        told = added, np.insert(more_df, 0, 0.0)[until]
        own, own_df = spread_of_person(stacked[:, :k], told, rho=rho)
        variances[:, places], df[:, places] = own.T, own_df.T
    return variances, df
