"""One person's page: rows from the store, judged, drawn as inline SVG, written as one file."""

from battery.report.gather import gather
from battery.report.judged import Page, page_data
from battery.report.known import Known
from battery.report.pdf import write_pdf
from battery.report.pool_reading import read_pools
from battery.report.pooling import Pools
from battery.report.rendering import page_of, paper_named, render, write_page, write_text
from battery.report.table import page_csv

__all__ = [
    "Known",
    "Page",
    "Pools",
    "gather",
    "page_csv",
    "page_data",
    "page_of",
    "paper_named",
    "read_pools",
    "render",
    "write_page",
    "write_pdf",
    "write_text",
]
