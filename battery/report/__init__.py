"""One person's page: gathered from the store, drawn as inline SVG, written as one HTML file."""

from battery.report.page import render, write_page

__all__ = ["render", "write_page"]
