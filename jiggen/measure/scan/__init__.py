"""A plate's holes from flatbed scans: pictures in, hole places with a stated 95 % region out.

What others use:

* `files.measure_scans(paths, distances, turns, without)` gives one `adjust.Fitted`; or in two
  steps, so that pictures are read once: `files.look_at(path)` gives a `files.Picture`,
  `files.fit_pictures(pictures, distances, turns, without)` the same `Fitted`.
* `adjust.parse_distance("a-b:outside=162.40")` gives a `network.Distance` for it.
* `findings.refusals(fitted)`: why its places must not be used, or nothing; `findings.notes(fitted)`
  what is not known.  What is not a scan, or of different things, raises InputError before.
* `Fitted.places` (n, 2), `within` (n,) mm, `covariance` (2n, 2n), `diameters` (n,) of the holes
  `seen.names`; `from_above(face)` the places of a thing whose `face` lay on the glass.  For drawing
  on the pictures: row k of `seen` is hole `seen.hole[k]` in picture `seen.scan[k]`, at `seen.at[k]`
  mm, `seen.diameter[k]` wide, `residuals[k]` off the fit; `odd` is what was left out.

`read` refuses what is not a scan, `holes` finds round holes in one picture, `matching` tells which
hole of one picture is which of another, `adjust` fits all pictures and caliper distances together.
Frame of a picture in mm: x along the sensor (to the right), y against the carriage's way down the
picture, so that turns count as in the frame of the ski; the origin is the picture's middle.
"""
