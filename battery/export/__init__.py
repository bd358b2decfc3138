"""Tidy tables with a data package, a BIDS dataset, an archive of many; all de-identified."""

from battery.export.archive.adding import add_exports
from battery.export.archive.rescored import rescore_export
from battery.export.bids.dataset import export_bids
from battery.export.checks.checking import verify_export
from battery.export.reading.reader import Export, ReadBlock
from battery.export.rows.from_rows import block_from_rows, screen_from_row
from battery.export.writing.tidy import Exported, Form, export_tidy

__all__ = [
    "Export",
    "Exported",
    "Form",
    "ReadBlock",
    "add_exports",
    "block_from_rows",
    "export_bids",
    "export_tidy",
    "rescore_export",
    "screen_from_row",
    "verify_export",
]
