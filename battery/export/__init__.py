"""Tidy tables with a data package: CSV and Parquet, one dictionary, de-identified."""

from battery.export.tidy import export_tidy

__all__ = ["export_tidy"]
