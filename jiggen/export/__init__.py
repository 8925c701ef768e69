"""Writes the files of a jig; nothing here decides anything about it.

`jiggen.export.write` loads the CAD kernel, so it is not imported here: drawings are light.
"""

from jiggen.export.folder import (
    check_target,
    clear_leftovers,
    listing,
    put_in_place,
    workshop,
    write_manifest,
)

__all__ = [
    "check_target",
    "clear_leftovers",
    "listing",
    "put_in_place",
    "workshop",
    "write_manifest",
]
