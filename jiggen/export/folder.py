"""The folder a build leaves: every file written, the manifest last, whole or not at all."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from jiggen.errors import Finding, InputError
from jiggen.files import MEASUREMENTS

MANIFEST = "manifest.json"


def check_target(target: Path, *, force: bool) -> None:
    """Raise InputError when `target` may not be replaced: only a jiggen folder, or by force."""
    if not target.exists() and not target.is_symlink():
        return
    if target.is_dir() and (force or _is_ours(target) or not any(target.iterdir())):
        return
    kind = "folder that jiggen did not make" if target.is_dir() else "file"
    raise InputError(
        Finding(
            "export.in-the-way",
            f"there is already a {kind} of that name; nothing was written",
            where=str(target),
            key="out",
            hint="Choose another --out, or replace a folder with --force.",
        )
    )


def _is_ours(folder: Path) -> bool:
    try:
        data = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(data, dict) and isinstance(data.get("manifest"), int)


@contextmanager
def workshop(target: Path) -> Iterator[Path]:
    """A temporary sibling of `target` to build in; removed when the build does not finish."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        name = tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    except OSError as error:
        raise InputError(
            Finding(
                "export.cannot-write",
                f"cannot write there: {error.strerror or error}",
                where=str(target.parent),
                key="out",
                hint="Choose another --out.",
            )
        ) from error
    folder = Path(name)
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def put_in_place(folder: Path, target: Path) -> None:
    """Rename the finished `folder` to `target`; what was there goes only when that is done."""
    old = folder.with_suffix(".old")
    if target.exists():
        target.replace(old)
    try:
        folder.replace(target)
    except OSError:
        if old.exists():
            old.replace(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def listing(folder: Path) -> dict[str, dict[str, Any]]:
    """Every file of `folder`: its size in bytes and its SHA-256.

    The manifest is left out, and what a person fills in.
    """
    left_out = {MANIFEST, MEASUREMENTS}
    files = sorted(p for p in folder.rglob("*") if p.is_file() and p.name not in left_out)
    return {
        path.relative_to(folder).as_posix(): {
            "bytes": path.stat().st_size,
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        }
        for path in files
    }


def write_manifest(folder: Path, manifest: Mapping[str, Any]) -> None:
    """Write the manifest: sorted where order means nothing, no clock in it."""
    text = json.dumps(manifest, indent=1, ensure_ascii=False, allow_nan=False)
    (folder / MANIFEST).write_text(text + "\n", encoding="utf-8")
