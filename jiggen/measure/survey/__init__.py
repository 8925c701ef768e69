"""From distances measured on a plate to where its holes are, and how surely.

The plate's own frame: x towards the ski's tip from the plate's origin, y to the left of its
centre line, in mm.
"""
