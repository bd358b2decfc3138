"""Tidy tables with a data package, and a BIDS dataset; both de-identified."""

from battery.export.bids import export_bids
from battery.export.tidy import export_tidy

__all__ = ["export_bids", "export_tidy"]
