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
    """What `read` makes of the file in the form's field ``file``; raises as `read_each`."""
    return read_each(form, read)[-1]


def read_each(form: FormData, read: Callable[[Path], T]) -> list[T]:
    """What `read` makes of each of the files in the form's field ``file``.

    Raises InputError, with the file's own name for its place, and ``desk.no-file``.
    """
    files = [one for one in form.getlist("file") if isinstance(one, UploadFile) and one.filename]
    if not files:
        raise InputError.of("desk.no-file", "no file was chosen", hint="Choose one, or drop it.")
    return [_read(one, read) for one in files]


def _read(given: UploadFile, read: Callable[[Path], T]) -> T:
    name = Path((given.filename or "").replace("\\", "/"))  # of whatever system
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
