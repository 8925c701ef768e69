"""Common ground: the record of a built folder, its manifest.json: written, read and judged.

Only the verification reads it by a definition of its own.
"""

import json
from pathlib import Path
from typing import Annotated

from pydantic import Field, TypeAdapter, ValidationError
from pydantic_core import from_json

from jiggen.errors import CheckFailed, Finding, InputError, key_path
from jiggen.files import MANIFEST, within
from jiggen.inputs.faults import in_words
from jiggen.record.model import SAME, GaugeRecord, JigRecord, Record, TrialRecord

__all__ = ["GaugeRecord", "JigRecord", "Record", "TrialRecord"]

LARGEST = 16 * 1024 * 1024  # bytes
AFTER = "Build it again, and look at what jiggen check says about the folder."
HINT = "Name a folder that jiggen build made; build it again if it is damaged."
AnyRecord = JigRecord | TrialRecord | GaugeRecord

_ANY: TypeAdapter[AnyRecord] = TypeAdapter(Annotated[AnyRecord, Field(discriminator="kind")])


def json_text(record: Record) -> str:
    """The record as manifest.json has it: the same text for the same record, no clock in it."""
    return json.dumps(record.values(), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def json_schema() -> str:
    """The JSON Schema (draft 2020-12) of manifest.json, for jigs, trial plates and gauges."""
    described = _ANY.json_schema(mode="serialization")
    for name in ("Finding", "JobberDrill"):  # what they are is not part of the record's contract
        described["$defs"][name].pop("description")
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "jiggen manifest.json, format 2",
        **described,
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def read_record(folder: Path) -> AnyRecord:
    """The record of a built folder.

    Raises InputError ``record.missing`` when there is none to read, ``record.invalid`` with every
    fault at once when it is not one.
    """
    try:
        text = within(folder, MANIFEST, LARGEST).read_bytes()
        return _ANY.validate_python(from_json(text, allow_inf_nan=False))
    except OSError as error:
        found = [("record.missing", f"cannot read the manifest: {error.strerror or error}", "")]
    except ValidationError as error:
        found = [
            ("record.invalid", in_words(one["msg"]), key_path(one["loc"][1:]))
            for one in error.errors()
        ]
    except ValueError as error:
        found = [("record.invalid", f"not valid JSON: {error}", "")]
    where = str(folder / MANIFEST)
    raise InputError(Finding(code, what, where, key, HINT) for code, what, key in found)


def read_jig(folder: Path) -> JigRecord:
    """The record of a built jig.

    Raises InputError as `read_record`, and ``record.kind`` for a trial plate or a gauge.
    """
    record = read_record(folder)
    if isinstance(record, JigRecord):
        return record
    name = "a trial plate" if isinstance(record, TrialRecord) else "a gauge"
    message = f"this folder holds {name}, not a jig"
    raise InputError(Finding("record.kind", message, str(folder / MANIFEST), "kind", HINT))


def check_usable(record: JigRecord) -> None:
    """Raise CheckFailed unless the jig may be drilled with.

    Codes: ``record.unverified``, ``record.failed``, ``record.changed`` unless its verification
    passed for these very holes; ``record.ski`` when the ski must not be drilled so.
    """
    verification = record.verification
    if verification is None:
        raise _refused("unverified", "this jig was never verified: there is no sheet to drill by")
    if not verification.passed:
        message = "this jig failed its verification: do not use it; there is no sheet to drill by"
        raise _refused("failed", message)
    found = {hole.id: hole.wanted for hole in verification.holes if hole.deviation is not None}
    wrong = [
        hole.id
        for hole in record.holes
        if hole.id not in found
        or max(abs(hole.x - found[hole.id].x), abs(hole.y - found[hole.id].y)) > SAME
    ]
    wrong += sorted({hole.id for hole in verification.holes} - {hole.id for hole in record.holes})
    if wrong or verification.faults:
        about = f" about {', '.join(wrong)}" if wrong else ""
        message = f"the manifest and the verification in it do not agree{about}: it was changed"
        raise _refused("changed", message)
    if record.drilling.errors:
        raise CheckFailed(
            Finding("record.ski", error.message, where="drilling", key=error.key, hint=error.hint)
            for error in record.drilling.errors
        )


def _refused(code: str, message: str) -> CheckFailed:
    return CheckFailed(Finding(f"record.{code}", message, key="verification", hint=AFTER))
