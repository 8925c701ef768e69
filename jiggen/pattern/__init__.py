"""Hole patterns: from a pattern file to checked values in mm, or to all that is wrong with it.

Every length of the values is in mm, whatever unit the file has.  Nothing in a file is evaluated.
"""

from jiggen.pattern.checks import check_boot
from jiggen.pattern.find import find_pattern, shipped_patterns
from jiggen.pattern.read import read_pattern

__all__ = ["check_boot", "find_pattern", "read_pattern", "shipped_patterns"]
