"""An evening's jigs built side by side, and the run sheet to drill by."""

from jiggen.report.evening.build import Outcome, build_evening, build_wanted
from jiggen.report.evening.run_sheet import check_tickets, run_sheet_pdf
from jiggen.report.evening.summary import as_dict, as_text

__all__ = [
    "Outcome",
    "as_dict",
    "as_text",
    "build_evening",
    "build_wanted",
    "check_tickets",
    "run_sheet_pdf",
]
