"""A built folder as one ZIP file: the same bytes for the same files."""

import hashlib
import io
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from jiggen.errors import CheckFailed
from jiggen.files import MANIFEST, MEASUREMENTS, within
from jiggen.record import LARGEST, Record

FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # the earliest that a ZIP file can name
LARGEST_FILE = 512 * 2**20  # bytes


def read_listed(folder: Path, record: Record, name: str) -> bytes:
    """The bytes of a file that `record` lists, as they were when it was built.

    Raises KeyError for a name that is not listed, CheckFailed ``export.changed`` for other bytes.
    """
    entry = record.files[name]
    try:
        data = within(folder, name, LARGEST_FILE).read_bytes()
    except OSError:
        data = b""
    if hashlib.sha256(data).hexdigest() != entry.sha256:
        message = "changed since it was built: it is not handed out"
        hint = "Build it again."
        raise CheckFailed.of("export.changed", message, where=str(folder / name), hint=hint)
    return data


def zip_folder(folder: Path, record: Record) -> bytes:
    """Everything that was built into `folder`, in a folder of its name; names in order, no clock.

    What a person put there stays out, but for readings in the form.  Raises as `read_listed`.
    """
    inner = {name: read_listed(folder, record, name) for name in record.files}
    for name in (MANIFEST, MEASUREMENTS):
        if (folder / name).is_file():
            inner[name] = within(folder, name, LARGEST).read_bytes()
    stream = io.BytesIO()
    with ZipFile(stream, "w", ZIP_DEFLATED) as archive:
        for name in sorted(inner):
            entry = ZipInfo(f"{folder.name}/{name}", FIRST_DAY)
            entry.compress_type, entry.create_system = ZIP_DEFLATED, 3  # the same on each system
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, inner[name])
    return stream.getvalue()
