"""What an evening comes to in words, and the run sheet to drill by."""

from jiggen.report.evening.run_sheet import check_tickets, run_sheet_pdf
from jiggen.report.evening.summary import as_dict, as_text

__all__ = [
    "as_dict",
    "as_text",
    "check_tickets",
    "run_sheet_pdf",
]
