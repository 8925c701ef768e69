"""From distances measured on a plate to where its holes are, and how surely.

`read_survey` reads the file, `examine` solves and judges it, `refusals` and `warnings` say in
words what stands against it, `pattern_text` makes a pattern file of it, `survey_svg` a drawing.

The plate's own frame: x towards the ski's tip from the plate's origin, y to the left of its
centre line, in mm.
"""

from jiggen.measure.survey.examination import LIMIT, Examination, examine
from jiggen.measure.survey.findings import refusals, warnings
from jiggen.measure.survey.read import CALIPER, Reading, Survey, read_survey
from jiggen.measure.survey.results import pattern_text

__all__ = [
    "CALIPER",
    "LIMIT",
    "Examination",
    "Reading",
    "Survey",
    "examine",
    "pattern_text",
    "read_survey",
    "refusals",
    "warnings",
]
