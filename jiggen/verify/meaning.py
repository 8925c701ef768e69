"""What the record says is engraved, held to the job, part by part."""

from jiggen.files import MANIFEST
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.results import Ledger
from jiggen.verify.scales import judge_gauge, judge_rail, judge_slots, judge_trial
from jiggen.verify.words import judge_body

BEARING = ("body", "plate", "gauge", "slots", "rail")  # kinds of parts with engravings


def judge_words(evidence: Evidence, ledger: Ledger) -> None:
    """Judge what is engraved on every part against the job."""
    manifest = evidence.manifest
    faces = {face.part: face for face in manifest.engraved if not face.down}
    halves: list[str] = []
    for part in manifest.parts:
        about = ledger.about(MANIFEST, part.name)
        face, depth = faces.get(part.name), limits.ENGRAVED[manifest.kind]
        if face is None:
            bears = part.kind in BEARING
            about.expect(not bears, "verify.engraving-missing", "nothing is said to be engraved")
            continue
        message = f"is engraved {face.depth:g} mm deep, {depth:g} mm is wanted"
        about.within(face.depth, depth, limits.LADDER, "verify.engraving-deep", message)
        if part.kind == "rail":
            judge_rail(evidence, part, face, ledger)
        elif part.kind == "slots":
            judge_slots(manifest, face, about)
        elif part.kind == "gauge":
            judge_gauge(manifest, face, about)
        elif part.kind == "plate":
            judge_trial(evidence, part, face, about)
        else:
            judge_body(manifest, part, face, halves, about)
