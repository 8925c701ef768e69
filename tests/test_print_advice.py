"""What a bed holds is printed alike, and every file and page says how."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import faults
import lib3mf
import pytest
from page_samples import Seen

from jiggen.advice import INFILL, LAYER, WALLS, advise
from jiggen.export.meshes import NAMESPACE
from jiggen.report.summary import mass_rows, print_settings, summary
from jiggen.verify import check, limits
from jiggen.verify.reading.pdf import read_pages

CORE = {"": "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"}
SOLID = {"rail", "pinion"}


def metadata(path):
    """By object the metadata that lib3mf, the consortium's own library, finds in our namespace."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    found = {}
    objects = model.GetObjects()
    while objects.MoveNext():
        group = objects.GetCurrentObject().GetMetaDataGroup()
        rows = [group.GetMetaData(n) for n in range(group.GetMetaDataCount())]
        assert {row.GetNameSpace() for row in rows} == {NAMESPACE}
        assert all(row.GetMustPreserve() for row in rows)
        found[objects.GetCurrentObject().GetName()] = {r.GetName(): r.GetValue() for r in rows}
    return found


def test_solid_parts_share_no_bed_with_others(built):
    kinds = {part.name: part.kind for part in built.record.parts}
    beds = [{kinds[piece.part] for piece in bed.pieces} for bed in built.record.beds]
    assert len(beds) == 2  # both bodies with the knobs, and what is solid
    assert all(kinds <= SOLID or not kinds & SOLID for kinds in beds)


def test_every_object_says_how_it_is_printed_as_the_specification_has_it(built):
    """3MF core specification: a metadatagroup before the mesh, names in a declared namespace."""
    for bed in built.record.beds:
        said = metadata(built.folder / bed.file)
        assert set(said) == set(bed.counts)
        for part, values in said.items():
            infill = "100 %" if part in SOLID else "30 %"
            wanted = {"material": "PETG", "layer": "0.2 mm", "walls": "4", "skins": "5"}
            assert values == wanted | {"infill": infill}
        with zipfile.ZipFile(built.folder / bed.file) as package:
            tree = ElementTree.fromstring(package.read("3D/3dmodel.model"))
        for entry in tree.iterfind("resources/object", CORE):
            assert [child.tag.partition("}")[2] for child in entry] == ["metadatagroup", "mesh"]


def test_one_definition_for_all_that_is_said(built):
    page = Seen((built.folder / "report.html").read_text(encoding="utf-8")).text
    pages = read_pages((built.folder / "sheet.pdf").read_bytes())
    sheet = " ".join(" ".join(one.text for one in pages).split())
    text = summary(built.record, built.verification, built.folder)
    masses = {row[0]: row[5] for row in mass_rows(built.record.plastic)}
    for number, bed in enumerate(built.record.beds, start=1):
        (kind, *_) = (part.kind for part in built.record.parts if part.name in bed.counts)
        assert bed.advice == advise(kind, "PETG")
        how = print_settings(bed.advice)
        assert f"{LAYER:g} mm layers" in how and f"{WALLS} walls" in how
        assert re.search(rf"print bed ([\d, ]*\b)?{number}\b[\d, ]*: {re.escape(how)}", sheet)
        assert f"Set {how}." in page
        assert f"set {how}" in text
        for part in bed.counts:
            assert f"{bed.advice.infill} %" in masses[part]
    assert {bed.advice.infill for bed in built.record.beds} == {INFILL, 100}
    readme = " ".join(Path("README.md").read_text(encoding="utf-8").split())
    assert f"{LAYER:g} mm layers" in readme and f"{INFILL} % infill" in readme
    # What the verification takes a usual printer to lay, which knows nothing of the record.
    assert limits.LAYER == LAYER


SAID_WALLS = '<metadata name="jiggen:walls" type="xs:string" preserve="1">4</metadata>'


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("30 %", "15 %", "verify.advice"),
        ("PETG", "PLA", "verify.advice"),
        (
            '<metadata name="jiggen:walls" type="xs:string" preserve="1">4</metadata>',
            "",
            "verify.advice",
        ),
        (f'xmlns:jiggen="{NAMESPACE}"', 'xmlns:jiggen="urn:other"', "verify.foreign"),
    ],
)
def test_a_3mf_that_says_otherwise_is_found(folder, old, new, code):
    def change(text):
        assert old in text
        return text.replace(old, new)

    faults.edit_3mf(folder, change)
    found = check(folder)
    assert not found.passed
    # The page shows the file's checksum, which is another one now.
    others = [fault for fault in found.faults if fault.code != "verify.page-words"]
    assert {fault.code for fault in others} == {code}
    subjects = {"body-toe", "body-heel", "knob"} if code == "verify.advice" else {others[0].subject}
    assert {fault.subject for fault in others} == subjects


def test_a_folder_without_advice_is_still_read(folder):
    """As those were that were built before it."""

    def forget(manifest):
        for bed in manifest["beds"]:
            del bed["advice"]
        del manifest["index_lines"]

    faults.edit_manifest(folder, forget)
    # Each paper bears another record's mark now, and the page tells of advice.
    papers = {"verify.other-record", "verify.page-words"}
    assert {fault.code for fault in check(folder).faults} <= papers
