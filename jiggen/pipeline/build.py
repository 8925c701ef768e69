"""One pipeline for every product: design, expect, draw, write, verify, render.

A product is a row of `jiggen.pipeline.products`; this module knows none of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar

from jiggen.design.settings import Bed
from jiggen.errors import Finding
from jiggen.export.folder import (
    NO_TEXTS,
    check_target,
    listing,
    put_in_place,
    workshop,
    write_manifest,
)
from jiggen.files import PAPERS, SHEET
from jiggen.marks import jig_mark
from jiggen.measure.printer.profile import Compensation
from jiggen.pipeline.witness import Here, Witness, witness
from jiggen.progress import announce
from jiggen.record import Record
from jiggen.record.entries import PrintBed
from jiggen.verify import Verification, remember

if TYPE_CHECKING:
    from jiggen.export.write import Meshes
    from jiggen.solid import Part

D = TypeVar("D")
P = TypeVar("P", bound="Planned[Any]")
R = TypeVar("R", bound=Record)


@dataclass(frozen=True, eq=False)
class Planned(Generic[D]):
    """What is decided before anything is drawn: the design, and how it is laid on the beds.

    `compensation` is applied to what the printer gets;
    `material` is the plastic that it is designed for, or empty; `asked` are the texts of the files
    that say what was asked for, by their names.
    """

    design: D
    bed: Bed
    compensation: Compensation | None = None
    warnings: tuple[Finding, ...] = ()
    material: str = ""
    asked: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Drawn(Generic[P]):
    """Solids, meshes by part as designed, and the beds, as they are written into `folder`."""

    plan: P
    parts: tuple[Part, ...]
    meshes: Meshes
    beds: tuple[PrintBed, ...]
    folder: Path

    @property
    def volumes(self) -> dict[str, float]:
        """Volume of each part in mm³, by name."""
        return {part.name: part.volume for part in self.parts}


@dataclass(frozen=True, eq=False)
class Output(Generic[P, R]):
    """A file of a folder, by `name`, and its content; None when `make` itself has written it.

    `needs` says when: a drawing is itself verified, what is made ``meanwhile`` is not, what is
    ``judged`` comes afterwards and tells of it, and what is to be worked from needs a folder that
    is ``verified``.
    """

    name: str
    make: Callable[[Drawn[P], R], str | bytes | None]
    needs: Literal["drawn", "meanwhile", "judged", "verified"] = "drawn"


@dataclass(frozen=True)
class Product(Generic[P, R]):
    """How one kind of thing is built: what each step of the pipeline does for it.

    `check` raises what forbids replacing the folder that is there.
    """

    draw: Callable[[P], Iterable[Part]]
    record: Callable[[Drawn[P]], R]
    outputs: Sequence[Output[P, R]]
    check: Callable[[Path], None] = lambda _: None


@dataclass(frozen=True, eq=False)
class Built(Generic[P, R]):
    """A built folder, what is in it, whether its verification passed, and what to beware of."""

    folder: Path
    plan: P
    record: R
    verification: Verification

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """What to beware of."""
        return self.plan.warnings + self.strange

    @property
    def strange(self) -> tuple[Finding, ...]:
        """What lies in the folder and may be taken for a file of jiggen's."""
        from jiggen.verify.folder import STRANGE, strangers

        beside = strangers(self.folder, self.record.files)
        hint = "Move it away: a folder with it in is refused when it is verified again."
        return tuple(
            Finding("export.strange", STRANGE, where=str(self.folder / name), hint=hint)
            for name, harmless in beside.items()
            if not harmless
        )


def build(
    product: Product[P, R], plan_it: Callable[[], P], target: Path, *, force: bool = False
) -> Built[P, R]:
    """Build what is planned into the folder `target`, which is replaced whole or not at all.

    What fails its verification is left beside it as ``…-failed``.  Raises, before anything is
    written, InputError when the input or the target is bad (`force` replaces any folder), and
    CheckFailed when the plan fails a check.
    """
    if not force:
        product.check(target)
    check_target(target, force=force)
    with witness() as verifier:
        made = _build(product, plan_it, target, force, verifier)
    if made.verification.passed and not made.strange:
        remember(made.folder)  # its files were verified just now, and its papers
    return made


def _build(
    product: Product[P, R],
    plan_it: Callable[[], P],
    target: Path,
    force: bool,
    verifier: Witness,
) -> Built[P, R]:
    """Build, and have it verified by `verifier`."""
    from jiggen.export.asked import asked_entry
    from jiggen.export.compensation import compensated
    from jiggen.export.write import lay_beds, write_beds, write_parts, write_step

    announce("design")
    plan = plan_it()
    done = plan.compensation
    drawn: list[Drawn[P]] = []

    def draw(folder: Path) -> R:
        for name, text in plan.asked.items():
            (folder / name).write_bytes(text.encode())
        parts, meshes, printed = write_parts(
            product.draw(plan),
            folder,
            lambda mesh: compensated(mesh, done) if done else mesh,
            verifier.read_ahead,
        )
        beds = lay_beds(parts, printed, plan.bed, plan.material)
        drawn.append(Drawn(plan, parts, meshes, beds, folder))
        record = product.record(drawn[0])
        if plan.asked:
            named = {"asked": asked_entry(plan.asked), "jig_mark": jig_mark(plan.asked)}
            record = record.model_copy(update=named)
        if verifier.ahead:
            write_manifest(folder, record)
            verifier.judge_ahead(folder)
        verifier.read_ahead(write_step(parts, folder))
        write_beds(printed, beds, folder)
        write(record, "drawn")
        return record

    def meanwhile(_: Path, record: R) -> None:
        write(record, "meanwhile")
        if any(output.needs in ("judged", "verified") for output in product.outputs):
            _load_for_papers()

    def finish(_: Path, record: R) -> None:
        write(record, "judged", "verified" if record.passed else "")

    def write(record: R, *now: str) -> None:
        folder = drawn[0].folder
        for output in product.outputs:
            if output.needs in now:
                announce(f"files: {output.name}")
                content = output.make(drawn[0], _listed(record, folder))
                if content is not None:
                    data = content.encode() if isinstance(content, str) else content
                    (folder / output.name).write_bytes(data)
                    if output.name == SHEET:  # the page tells of all files: it is the last
                        verifier.begin_paper(folder, SHEET)

    folder, record, verification = verified_folder(
        target,
        draw,
        meanwhile=meanwhile,
        finish=finish,
        force=force,
        asked=plan.asked,
        verifier=verifier,
    )
    return Built(folder, plan, record, verification)


def verified_folder(
    target: Path,
    make: Callable[[Path], R],
    *,
    meanwhile: Callable[[Path, R], None] = lambda _folder, _record: None,
    finish: Callable[[Path, R], None] = lambda _folder, _record: None,
    force: bool,
    asked: Mapping[str, str] = NO_TEXTS,
    verifier: Witness | None = None,
) -> tuple[Path, R, Verification]:
    """What `make` writes into a folder, with its record and verification, as `build` says.

    `make` returns the record so far; what `meanwhile` writes is not verified; `finish` may write
    more, by a record with its verification.  That is verified in its turn, and written anew where
    a fault is found in it.
    """
    verifier = verifier or Here()
    check_target(target, force=force, asked=asked)
    with workshop(target) as folder:
        check_target(target, force=force, asked=asked)  # now that no other jiggen writes there
        record = _listed(make(folder), folder)
        write_manifest(folder, record)
        verifier.begin(folder)
        meanwhile(folder, record)
        announce("verification")
        verification = verifier.verification()
        results = {"verification": verification, "printing": verification.printing}
        record = _listed(record.model_copy(update=results), folder)
        write_manifest(folder, record)
        finish(folder, record)
        record = _listed(record, folder)
        write_manifest(folder, record)
        if faults := verifier.papers(folder):
            faults = (*verification.faults, *faults)
            verification = replace(verification, passed=False, faults=faults)
            record = record.model_copy(update={"verification": verification})
            for name in PAPERS:  # what was made tells of a folder that passed
                (folder / name).unlink(missing_ok=True)
            finish(folder, record)
            record = _listed(record, folder)
            write_manifest(folder, record)
        final = target if verification.passed else target.with_name(target.name + "-failed")
        # Building takes time: something may have been put there.  What failed is not worth keeping.
        check_target(final, force=force, asked=asked if verification.passed else NO_TEXTS)
        put_in_place(folder, final)
    return final, record, verification


def _load_for_papers() -> None:
    """Load what the sheet and the page need and nothing did so far, while files are verified."""
    import scipy.optimize  # noqa: F401 - places of labels

    import jiggen.verify.folder  # noqa: F401 - what lies beside the files


def _listed(record: R, folder: Path) -> R:
    """`record` with the files that are in `folder` now."""
    return record.model_copy(update={"files": listing(folder)})
