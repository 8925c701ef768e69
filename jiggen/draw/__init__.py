"""Drawings: shapes in mm, and writers that turn them into SVG, DXF and PDF.

The same drawing always gives the same bytes.  What is drawn is decided elsewhere: nothing here
knows what a hole pattern or a ski is.
"""
