"""Room: export. Writes the files of a jig; nothing here decides anything about it."""

from jiggen.export.folder import (
    MANIFEST,
    check_target,
    listing,
    put_in_place,
    workshop,
    write_manifest,
)
from jiggen.export.write import write_files

__all__ = [
    "MANIFEST",
    "check_target",
    "listing",
    "put_in_place",
    "workshop",
    "write_files",
    "write_manifest",
]
