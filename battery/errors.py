"""Everything that can go wrong in words a user can act on.

::

    BatteryError
    ├── RecordError   a record cannot be read, or does not hold together
    ├── StoreError    the store cannot be opened, written or shared
    │   └── ChangedMeanwhileError   another program was quicker; the same again succeeds
    ├── PlanError     a plan file is wrong, or does not fit this screen
    ├── UsageError    a command names something that does not exist
    ├── StageError    no screen, no window, no usable pointer
    ├── ScoringError  a measure was asked for what the data cannot give
    ├── HandoverError a bundle, receipt or key cannot be used
    │   ├── NewerFormatError   a later program made it
    │   └── FalseFieldError    it is signed and whole, and says what cannot be
    ├── ReportError   a page was made, its PDF could not be
    ├── DeskError     the desk cannot be opened
    └── PackagingError   the program could not be put into a folder or package

A message is one line: the value, the limit, the way out, and whether data are safe.
The command line prints it and exits with `exit_status`; it never shows a traceback for one.
Where a single one of the things that were given is wrong, `field` says which, so that a form
can show the line at it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


class BatteryError(Exception):
    """Base of all errors that are shown to a user as one line.

    Parameters
    ----------
    message : str
    field : str
        What of what was given is wrong, by the name it was given under; empty where it is no
        single thing.
    """

    exit_status = 1

    def __init__(self, *message: object, field: str = "") -> None:
        super().__init__(*message)
        self.field = field


@contextmanager
def of_field(field: str) -> Iterator[None]:
    """Let an error inside concern a field, unless it names one itself."""
    try:
        yield
    except BatteryError as error:
        error.field = error.field or field
        raise


class RecordError(BatteryError, ValueError):
    """A record cannot be read or contradicts itself."""


class StoreError(BatteryError, OSError):
    """The store cannot be opened, written or shared."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


class ChangedMeanwhileError(StoreError):
    """Another program changed the store between reading and writing; try the same again."""


class PlanError(BatteryError, ValueError):
    """A plan is wrong, or does not fit the screen."""

    exit_status = 2


class StageError(BatteryError, RuntimeError):
    """No screen, no window or no usable pointer."""


class ScoringError(BatteryError, ValueError):
    """A measure was asked for something its data cannot give."""


class ReportError(BatteryError, RuntimeError):
    """A page was written, but what was to be made of it could not be."""


class HandoverError(BatteryError, ValueError):
    """A bundle, receipt or key cannot be used; what was stored is not touched."""


class NewerFormatError(HandoverError):
    """A later program made it; it is kept as it is."""


class FalseFieldError(HandoverError):
    """It is signed and whole, and a field of it says what cannot be.

    Parameters
    ----------
    message : str
        Names the field.
    content, public : bytes
        What was signed, and the key it was signed with.
    code : str
        Of the person it speaks of, if that can be one.
    """

    def __init__(self, message: str, *, content: bytes, public: bytes, code: str = "") -> None:
        super().__init__(message)
        self.content = content
        self.public = public
        self.code = code


class UsageError(BatteryError, ValueError):
    """A command was given something that does not exist."""

    exit_status = 2


class PackagingError(BatteryError, RuntimeError):
    """The program could not be made into what a clinic installs."""


class DeskError(BatteryError, RuntimeError):
    """The desk cannot be opened; the store is not touched."""
