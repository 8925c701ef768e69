"""A folder checked later on: verified again, and that no file has changed since."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

from jiggen.files import MEASUREMENTS, within
from jiggen.verify import limits
from jiggen.verify.manifest import MANIFEST, FileEntry, Manifest, read_manifest
from jiggen.verify.parts import unreadable
from jiggen.verify.results import Fault, Ledger, Verification
from jiggen.verify.verification import verify_as

LITTER = {"Thumbs.db", "desktop.ini"}  # left by file managers; dotted names are too


def check(folder: Path) -> Verification:
    """Verify `folder` again, and compare every file with the manifest's SHA-256.

    Raises InputError when the manifest is missing or wrong.
    """
    manifest = read_manifest(folder)
    ledger = Ledger()
    for name, entry in sorted(manifest.files.items()):
        _judge_file(folder, name, entry, ledger)
    _judge_listing(folder, manifest, ledger)
    _judge_stored_verification(manifest, ledger)
    verification = verify_as(manifest, folder)
    said = {(fault.code, fault.source) for fault in ledger.faults}
    later = tuple(fault for fault in verification.faults if (fault.code, fault.source) not in said)
    return replace(
        verification, checks=verification.checks + ledger.checks, faults=(*ledger.faults, *later)
    )


def _judge_file(folder: Path, name: str, entry: FileEntry, ledger: Ledger) -> None:
    path = folder / name
    try:
        data = within(folder, name, limits.FILE).read_bytes()
    except OSError as error:
        ledger.fail(unreadable(path, name, error))
        return
    ledger.expect(
        len(data) == entry.bytes and hashlib.sha256(data).hexdigest() == entry.sha256,
        Fault(
            "verify.hash",
            name,
            path.name,
            f"changed since it was built: {len(data)} bytes, {entry.bytes} then",
        ),
    )


def _judge_listing(folder: Path, manifest: Manifest, ledger: Ledger) -> None:
    there = {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if not (path.is_dir() or path.name.startswith(".") or path.name in LITTER)
    }
    for name in sorted(there - {MANIFEST, MEASUREMENTS} - manifest.files.keys()):
        fault = Fault("verify.unlisted", name, name, "a file that jiggen did not write")
        ledger.fail(fault)


def _judge_stored_verification(manifest: Manifest, ledger: Ledger) -> None:
    stored = manifest.verification
    ledger.expect(
        stored is not None,
        Fault(
            "verify.unverified",
            MANIFEST,
            "verification",
            "the jig was never verified when it was built",
        ),
    )
    ledger.expect(
        stored is None or stored.get("passed") is True,
        Fault(
            "verify.failed-when-built",
            MANIFEST,
            "verification",
            "the jig failed its verification when built",
        ),
    )
