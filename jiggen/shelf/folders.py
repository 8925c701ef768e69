"""Built folders: where they are, and what those of the jigs on a shelf say, certified."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from jiggen.drilling import SkiState
from jiggen.errors import Finding, InputError, JiggenError
from jiggen.files import MANIFEST, PATTERN_FILE
from jiggen.pattern import read_pattern
from jiggen.record import read_jig
from jiggen.request.shelf import SHELF_FILE
from jiggen.request.which import WhichRequest
from jiggen.shelf.jigs import OwnedJig
from jiggen.shelf.store import open_shelf
from jiggen.shelf.which import Answer, PairInHand, Shelved, find_jig, misfits
from jiggen.verify import certify

Unread = tuple[OwnedJig, Finding]
"""A jig whose folder does not say what it is, and why."""


def folders_below(top: Path) -> Iterator[Path]:
    """Folders below `top`, or that itself, that hold a record, in order.

    Links are left out, and hidden folders: what is being built is in one.
    """
    for place, inner, _ in os.walk(top):
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        if (folder := Path(place)).joinpath(MANIFEST).is_file():
            yield folder


def read_shelved(jigs: Iterable[OwnedJig]) -> Iterator[Shelved | Unread]:
    """The jigs, without trial plates, gauges and what is retired, each with what its folder says.

    A folder that is not there, or that holds another jig by now, stands with the reason.
    """
    for jig in jigs:
        if is_usable(jig):
            try:
                yield read_one(jig)
            except JiggenError as error:
                yield jig, error.findings[0]


def is_usable(jig: OwnedJig) -> bool:
    """Whether it guides a drill and is not retired."""
    return jig.kind == "jig" and jig.state != "retired"


def read_one(jig: OwnedJig) -> Shelved:
    """A jig with what its folder says.

    Raises InputError as `read_jig` and `read_pattern`, and ``which.folder`` for another jig there.
    """
    record = read_jig(jig.folder)
    if record.jig_mark != jig.mark:
        message = f"its folder holds another jig now, {record.jig_mark or 'one without a mark'}"
        hint = "Build the jig of that mark again, or retire it."
        raise InputError.of("which.folder", message, where=str(jig.folder), hint=hint)
    return Shelved(jig, record, read_pattern(jig.folder / PATTERN_FILE))


def find_for(asked: WhichRequest) -> tuple[Answer, dict[str, list[str]]]:
    """The answer for the pair that is asked about, and the words that ask for a jig to build.

    Raises InputError for what is wrong with the pair, and as `open_shelf`.
    """
    mount, pattern = asked.mount, asked.mount.read()
    SkiState(asked.thickness or (), ((0.0, min(asked.ski)), (200.0, max(asked.ski)))).check()
    mount.lay_out(pattern)
    pair = PairInHand(
        pattern,
        mount.boot,
        asked.widths,
        mount.core,
        mount.side,
        mount.shift,
        asked.sides.sidewall,
        asked.sides.rail_depth,
        asked.thickness or (),
        asked.limits.checked(),
    )
    with open_shelf(asked.shelf, new=asked.shelf == SHELF_FILE) as shelf:
        jigs = shelf.jigs()
    return find_certified(jigs, pair, asked.bush_limit), asked.to_build(pattern)


def find_certified(jigs: Sequence[OwnedJig], pair: PairInHand, limit: float) -> Answer:
    """As `find_jig`; those that serve the pair are verified, unless their files passed before."""
    usable = [jig for jig in jigs if is_usable(jig)]
    others = {jig: reason for jig in usable for reason in [*misfits(jig, pair)][:1]}
    left = (jig for jig in usable if jig not in others)  # few: their folders are read
    answer = find_jig(read_shelved(left), pair, limit)
    failed = {}
    for fit in answer.fits:
        try:
            certify(fit.shelved.jig.folder)
        except JiggenError as error:
            failed[fit] = fit.shelved.jig, error.findings[0]
    fits = tuple(fit for fit in answer.fits if fit not in failed)
    return replace(answer, fits=fits, others=(*answer.others, *failed.values(), *others.items()))
