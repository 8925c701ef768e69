"""The sheet for the bench: one PDF to work from, and the holes at 1:1 to lay over the jig."""

from jiggen.report.sheet.compose import sheet_pdf
from jiggen.report.sheet.document import Paper, Units

__all__ = ["Paper", "Units", "sheet_pdf"]
