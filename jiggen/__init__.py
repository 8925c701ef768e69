"""jiggen: printable, verified drilling jigs for mounting bindings and plates on skis.

One straight road, each room knowing only the ones before it::

    pattern -> layout -> design -> solid -> export -> verify -> report

Frame everywhere (axes named as in ISO 8855): x towards the ski's tip, y towards
the left edge seen from tail to tip, z up; origin on the ski's mounting mark, on
the centre line, at top-sheet level.  Millimetres and degrees.
"""

__version__ = "0.1.0"
