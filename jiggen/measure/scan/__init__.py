"""A plate's holes from flatbed scans: pictures in, hole places with a stated 95 % region out.

`read` refuses what is not a scan, `holes` finds round holes in one picture, `matching` tells which
hole of one picture is which of another, `adjust` fits all pictures and caliper distances together.
Frame of a picture in mm: x along the sensor (to the right), y against the carriage's way down the
picture, so that turns count as in the frame of the ski; the origin is the picture's middle.
"""
