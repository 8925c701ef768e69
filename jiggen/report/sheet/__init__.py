"""The sheet for the bench: one PDF to work from, and the holes at 1:1 to lay over the jig."""

from jiggen.report.sheet.compose import sheet_pages, sheet_pdf
from jiggen.report.sheet.page import Page, Paper, Units

__all__ = ["Page", "Paper", "Units", "sheet_pages", "sheet_pdf"]
