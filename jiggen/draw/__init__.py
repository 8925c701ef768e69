"""Drawings: shapes in mm, and writers that turn them into SVG, DXF and PDF.

A drawing is a list of plain shapes (`jiggen.draw.shapes`) put together from a few common figures
(`jiggen.draw.figures`, `jiggen.draw.labels`).  `jiggen.draw.svg`, `jiggen.draw.dxf` and
`jiggen.draw.pdf` write it; the same drawing always gives the same bytes.  What is drawn is decided
elsewhere: nothing here knows what a hole pattern or a ski is.
"""
