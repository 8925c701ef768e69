"""The page of a built jig: one file to look at in a browser, with nothing fetched from anywhere."""

from jiggen.report.page.compose import REPORT, report_html

__all__ = ["REPORT", "report_html"]
