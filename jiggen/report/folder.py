"""A folder of files made, verified and put in place: whole or not at all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from jiggen.export import check_target, listing, put_in_place, workshop, write_manifest
from jiggen.files import plain_name
from jiggen.verify import Verification, printing_dict, verify_folder

Progress = Callable[[str], None]


def folder_name(pattern: str, *boots: float) -> str:
    """A plain folder name for a pattern and its boot, or its shortest and longest one.

    Letters, digits and hyphens only, and a point where a boot has one.
    """
    return "-".join([plain_name(pattern, "jig"), *(f"{boot:g}" for boot in boots)])


def verified_folder(
    target: Path,
    make: Callable[[Path], dict[str, Any]],
    *,
    finish: Callable[[Path, dict[str, Any]], None] = lambda _folder, _manifest: None,
    force: bool,
    progress: Progress,
) -> tuple[Path, dict[str, Any], Verification]:
    """What `make` writes into a folder, with manifest and verification.

    `make` returns the manifest so far; `finish` may write more files, by a manifest that has its
    verification, passed or not.  `target` is replaced whole; what fails its verification is left
    beside it as ``…-failed``.  Raises InputError when `target` may not be replaced, and what
    `make` raises; then nothing is written.
    """
    check_target(target, force=force)
    with workshop(target) as folder:
        check_target(target, force=force)  # now that no other jiggen writes there
        manifest = make(folder)
        manifest["files"] = listing(folder)
        write_manifest(folder, manifest)
        progress("verification")
        verification = verify_folder(folder)
        manifest["verification"] = verification.as_dict()
        manifest["printing"] = printing_dict(verification.printing)
        finish(folder, manifest)
        manifest["files"] = listing(folder)
        write_manifest(folder, manifest)
        final = target if verification.passed else target.with_name(target.name + "-failed")
        check_target(final, force=force)  # building takes time: something may have been put there
        put_in_place(folder, final)
    return final, manifest, verification
