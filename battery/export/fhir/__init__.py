"""A person's chart as FHIR R4 for a clinic's record system: real times, under the study code.

Unlike every other export this is no research data set. It is a clinical hand-over into the
person's own chart, where a result without its day is worth nothing: dates and times are those
of the place, and what was written about visits (reasons, authors, notes) is in it. Whoever
sends it answers for the record system being the right one; the person stands in it by the
study code alone, and the record system's staff join it to the chart.

What is left out: samples, and hashes of records. The hash of a record covers the moment it
began, and that of an export would join a chart to the de-identified rows of a study.
"""

from battery.export.fhir.bundle import bundle_of
from battery.export.fhir.chart import Chart, Page, Said, Value, read_chart
from battery.export.fhir.check import findings
from battery.export.fhir.writing import ChartsDone, export_charts

__all__ = [
    "Chart",
    "ChartsDone",
    "Page",
    "Said",
    "Value",
    "bundle_of",
    "export_charts",
    "findings",
    "read_chart",
]
