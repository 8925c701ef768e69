"""Common ground: the record of a built folder, its manifest.json.

The one definition of what it says, for the rooms that make it and those that read it; only the
verification reads it by a definition of its own.  Entries are in `jiggen.record.entries`, computed
results in `jiggen.record.results`, reading and writing in `jiggen.record.folder`.
"""

from jiggen.record.entries import Hole, Part
from jiggen.record.folder import (
    check_usable,
    json_schema,
    json_text,
    read_jig,
    read_record,
    record_from,
)
from jiggen.record.model import GaugeRecord, JigRecord, Ladder, Record, TrialRecord
from jiggen.record.results import DepthStop, Drilling

__all__ = [
    "DepthStop",
    "Drilling",
    "GaugeRecord",
    "Hole",
    "JigRecord",
    "Ladder",
    "Part",
    "Record",
    "TrialRecord",
    "check_usable",
    "json_schema",
    "json_text",
    "read_jig",
    "read_record",
    "record_from",
]
