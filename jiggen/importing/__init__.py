"""Importing: from a drawing of a plate to a pattern file, or to all that is wrong with it."""
