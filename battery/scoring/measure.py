"""What a measure is, in every word that scores, dictionary, page and docs need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Direction = Literal["lower", "higher", "toward_one", "toward_zero", "none"]
Width = Literal["interval", "spread", "none"]


@dataclass(frozen=True, slots=True)
class Measure:
    """What a measure is.

    Parameters
    ----------
    name : str
        ``task.what_unit``.
    title : str
        As a therapist reads it.
    meaning : str
        One sentence: what is computed from what.
    unit : str
        UCUM-like; ``1`` for a ratio.
    direction : {"lower", "higher", "toward_one", "toward_zero", "none"}
        Which way is better.
    source : str
        Where the definition comes from.
    primary : bool
        One a task, named in advance; only this one gets a verdict.
    log_scale : bool
        Whether visits are compared on the log scale.
    limits : str
        What it cannot tell.
    needs : str
        What a record must hold for it; without it the value is missing, with the reason.
    detail : bool
        One of a family (a side, a frequency, a band) that stands behind another measure: for
        the export, not for a page that is read in two minutes.
    since : int
        Scoring version in which its definition changed last.
    width : {"interval", "spread", "none"}
        What stands beside a value: a 95 % interval, or the middle half of the ways, reaches or
        links it is the median or mean of, which says how unlike they were and not how sure the
        value is; or nothing, where no interval holds what it says.
    min_compared : float
        Of a primary measure: values below it are equal when visits are compared, as no finger
        and no panel tells them apart. A judgement, without source.
    """

    name: str
    title: str
    meaning: str
    unit: str
    direction: Direction
    source: str
    primary: bool = False
    log_scale: bool = True
    limits: str = ""
    needs: str = ""
    detail: bool = False
    since: int = 1
    width: Width = "interval"
    min_compared: float = 0.0

    @property
    def task(self) -> str:
        """The task it belongs to."""
        return self.name.split(".")[0]


OWN = "definition of this project"
COMMON = "common practice, no source"
WILSON = "interval: Wilson 1927, J Am Stat Assoc 22:209-212"
ON_ONE_DEVICE = "Holds for one device only: the digitiser and its drivers are part of it."
