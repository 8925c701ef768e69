"""Files that were dropped on a page."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

from starlette.datastructures import FormData, UploadFile

from jiggen.errors import InputError
from jiggen.files import plain_name

T = TypeVar("T")


def read_dropped(form: FormData, read: Callable[[Path], T]) -> T:
    """What `read` makes of the file in the form's field ``file``.

    Raises InputError, with the file's own name for its place, and ``desk.no-file``.
    """
    given = form.get("file")
    if not isinstance(given, UploadFile) or not given.filename:
        raise InputError.of("desk.no-file", "no file was chosen", hint="Choose one, or drop it.")
    name = Path(given.filename.replace("\\", "/"))  # of whatever system
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"{plain_name(name.stem, 'file')}{name.suffix.lower()[:10]}"
        path.write_bytes(given.file.read())
        try:
            return read(path)
        except InputError as error:
            faults = (
                replace(one, where=one.where.replace(str(path), name.name))
                for one in error.findings
            )
            raise InputError(faults) from None
