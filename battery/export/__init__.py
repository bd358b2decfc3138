"""Tidy tables with a data package, and a BIDS dataset; both de-identified."""

from battery.export.bids import export_bids
from battery.export.checking import verify_export
from battery.export.rescored import rescore_export
from battery.export.tidy import Exported, Form, export_tidy

__all__ = [
    "Exported",
    "Form",
    "export_bids",
    "export_tidy",
    "rescore_export",
    "verify_export",
]
