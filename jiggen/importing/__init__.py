"""Importing: from a drawing of a plate to a pattern file, or to all that is wrong with it.

`import_pattern` reads the circles of a DXF or SVG drawing or the rows of a CSV table and returns
the text of a pattern file; it writes nothing.
"""

from jiggen.importing.job import Imported, import_pattern
from jiggen.importing.model import DEPTH, Choices

__all__ = ["DEPTH", "Choices", "Imported", "import_pattern"]
