"""Mutations: things done wrong in a built folder, or in the room that draws it, one at a time.

Each says by which checks it must be caught.  A folder's own hashes are renewed after its files
were changed, and a changed STL is put into the 3MF of its bed too, so that it is what is in them
that fails.  The lists stand in ``mutations_*.py``
beside this module; ``python tests/bench/mutations.py`` runs them all.
"""

from __future__ import annotations

import hashlib
import importlib
import re
import shutil
import zipfile
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from verify_samples import MODEL, mesh_xml, read_facets, read_manifest_data, rehash, write_manifest

import jiggen
from jiggen.design import Bed, Settings, SkiRange
from jiggen.files import PAGE, PICTURE
from jiggen.job import Job
from jiggen.layout import Layout, lay_out
from jiggen.measure.printer.profile import Profile
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.model import Pattern
from jiggen.pipeline.build import build
from jiggen.pipeline.products import GAUGE, JIG, TRIAL, plan_gauge, plan_jig, plan_trial
from jiggen.verify import Verification
from jiggen.verify.toolpath import check_toolpaths

Where = Literal["STL", "STEP", "3MF", "record", "drawing", "paper", "folder", "solid", "gcode"]
Kind = Literal["jig", "boots", "trial", "gauge", "printer"]
TOOLPATHS = "toolpaths"  # folder within the mutated one that G-code is written to
SKIS = SkiRange(84.0, 112.0)


@dataclass(frozen=True)
class Mutation:
    """One thing done wrong, and the codes of which one at least must be reported.

    `apply` takes the folder of a `product` and changes its files; of one planted in the room
    that draws (`where` is ``solid``) it takes nothing and is a context to build the product in;
    one of ``gcode`` writes that into `TOOLPATHS`, and the check of toolpaths must report it.
    `harmless` is the reason why one need not be caught.
    """

    name: str
    where: Where
    apply: Callable[[Path], object] | Callable[[], AbstractContextManager[object]]
    caught_by: tuple[str, ...] = ()
    product: Kind = "jig"
    harmless: str = ""
    hashes: bool = True

    def __str__(self) -> str:
        return f"{self.product}, {self.where}: {self.name}"


def every_mutation() -> tuple[Mutation, ...]:
    """All lists beside this module, in the order of their names."""
    lists = sorted(path.stem for path in Path(__file__).parent.glob("mutations_*.py"))
    found = [row for name in lists for row in importlib.import_module(name).MUTATIONS]
    names = [str(mutation) for mutation in found]
    twice = {name for name in names if names.count(name) > 1}
    if twice:
        raise ValueError(f"twice in the lists: {', '.join(sorted(twice))}")
    return tuple(found)


def job(kind: Kind = "jig") -> Job:
    """The jig that mutations are made of: one boot, or eleven boots, or for a printer."""
    boots = (300.0, 310.0) if kind == "boots" else (305.0, 305.0)
    printer = None
    if kind == "printer":
        printer = Profile(name="shed", material="PETG", scale_x=1.002, scale_y=0.999, skew=0.05)
    return Job(read_pattern(find_pattern("club-piste")), boots, Settings(SKIS), printer=printer)


def make(kind: Kind, target: Path, *, bare: bool = False) -> tuple[Path, Verification]:
    """Build a product in `target`; if `bare`, without pictures and what is made after its check."""
    product, plan = PLANS[kind]
    outputs = tuple(o for o in product.outputs if o.needs == "drawn" and o.name != PICTURE)
    built = build(replace(product, outputs=outputs) if bare else product, plan, target)
    return built.folder, built.verification


def caught(mutation: Mutation, good: Path, scratch: Path) -> tuple[str, ...]:
    """The codes reported of a mutation, without repetition; `good` is its product's folder."""
    if mutation.where == "solid":
        return _planted(mutation, scratch)
    folder = shutil.copytree(good, scratch / "mutated")
    try:
        mutation.apply(folder)  # type: ignore[call-arg]
        if mutation.where == "STL":
            lay_on_beds(folder, good)
        if mutation.hashes:
            renew(folder, good)
        if mutation.where == "gcode":
            faults = check_toolpaths(folder, sorted((folder / TOOLPATHS).iterdir())).faults
        else:
            faults = jiggen.verify(folder).faults
    except jiggen.JiggenError as error:  # a manifest that is none
        return tuple(dict.fromkeys(finding.code for finding in error.findings))
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return tuple(dict.fromkeys(fault.code for fault in faults))


def lay_on_beds(folder: Path, good: Path) -> None:
    """Write every STL file that is not as in `good` into the 3MF of its bed too."""
    data = read_manifest_data(good)
    files = {part["name"]: part["file"] for part in data["parts"]}
    changed = {
        name: folder / file
        for name, file in files.items()
        if (folder / file).is_file() and (folder / file).read_bytes() != (good / file).read_bytes()
    }
    for bed in (bed for bed in data["beds"] if any(p["part"] in changed for p in bed["pieces"])):
        path = folder / bed["file"]
        with zipfile.ZipFile(path) as package:
            members = {name: package.read(name) for name in package.namelist()}
        text = members[MODEL].decode()
        for name, stl in changed.items():
            inner = re.compile(rf'(<object [^>]*name="{name}".*?<mesh>).*?(</mesh>)', re.DOTALL)
            try:
                mesh = mesh_xml(read_facets(stl))
            except ValueError:  # no STL any more
                continue
            text = inner.sub(lambda match, mesh=mesh: match[1] + mesh + match[2], text)
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
            for name, content in members.items():
                package.writestr(name, text.encode() if name == MODEL else content)


def renew(folder: Path, good: Path) -> None:
    """Renew the sizes and hashes of the files that are listed, and there; on the page too."""
    listed = read_manifest_data(folder)["files"]
    page = folder / PAGE
    for name, entry in read_manifest_data(good)["files"].items():
        if name != PAGE and page.is_file() and (folder / name).is_file():
            now = hashlib.sha256((folder / name).read_bytes()).hexdigest()
            if now != entry["sha256"]:
                text = page.read_bytes().replace(entry["sha256"].encode(), now.encode())
                page.write_bytes(text)
    rehash(folder)
    data = read_manifest_data(folder)
    data["files"] = {name: data["files"].get(name, entry) for name, entry in listed.items()}
    write_manifest(folder, data)


def _planted(mutation: Mutation, scratch: Path) -> tuple[str, ...]:
    with mutation.apply():  # type: ignore[call-arg, union-attr]
        folder, verification = make(mutation.product, scratch / "planted", bare=True)
    shutil.rmtree(folder)
    return tuple(dict.fromkeys(fault.code for fault in verification.faults))


def _layout() -> tuple[Pattern, Layout]:
    pattern = read_pattern(find_pattern("club-piste"))
    return pattern, lay_out(pattern, 305.0)


PLANS: dict[Kind, tuple[Any, Callable[[], Any]]] = {
    "jig": (JIG, lambda: plan_jig(job())),
    "boots": (JIG, lambda: plan_jig(job("boots"))),
    "printer": (JIG, lambda: plan_jig(job("printer"))),
    "trial": (TRIAL, lambda: plan_trial(*_layout(), Bed(220.0, 220.0, 250.0))),
    "gauge": (GAUGE, lambda: plan_gauge(Bed(220.0, 220.0, 250.0))),
}
