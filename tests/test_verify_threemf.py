from __future__ import annotations

import re
import sys
import zipfile
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from verify_samples import MODEL, RELATIONSHIPS, TYPES, good_sample, read_facets, write_package

from jiggen.verify.beds import difference
from jiggen.verify.reading.mesh import Mesh, read_stl
from jiggen.verify.reading.threemf import (
    ADVICE,
    UNITS,
    ForeignPartError,
    ThreeMFError,
    read_3mf,
)

NAMESPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
TETRAHEDRON = (
    '<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>'
    '<vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices><triangles>'
    '<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'
    '<triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh>'
)
HERE = "1 0 0 0 1 0 0 0 1 2 3 0"
TWIN = f'<object id="2" name="a">{TETRAHEDRON}</object>'


def model(objects=f'<object id="1" name="a">{TETRAHEDRON}</object>', items="", unit="millimeter"):
    return (
        f'<model unit="{unit}" xmlns="{NAMESPACE}"><resources>{objects}</resources>'
        f"<build>{items}</build></model>"
    )


def item(transform=HERE, more="", number=1):
    return f'<item objectid="{number}" partnumber="a" transform="{transform}"{more}/>'


def read(tmp_path, text):
    path = tmp_path / "some.3mf"
    write_package(path, text)
    return read_3mf(path)


def test_the_sample_holds_its_parts_in_millimetres():
    package = read_3mf(good_sample() / "bed-1.3mf")
    assert package.unit == "millimeter"
    assert [item.name for item in package.items] == ["body", "rail", "rail"]
    for name, mesh in package.meshes.items():
        other = read_stl(good_sample() / f"parts/{name}.stl")
        assert difference(mesh, other, 1e-3) == ""


def test_a_transform_acts_on_row_vectors(tmp_path):
    # 3MF core specification, "3D Matrices": rows m00 m01 m02 … m30 m31 m32, the last one the
    # translation; so this turns x into y and shifts by (10, 20, 30).
    (found,) = read(tmp_path, model(items=item("0 1 0 -1 0 0 0 0 1 10 20 30"))).items
    assert (found.place @ (1, 0, 0, 1)).tolist() == [10, 21, 30, 1]
    assert (found.place @ (0, 1, 0, 1)).tolist() == [9, 20, 30, 1]


@pytest.mark.parametrize(
    "change",
    [
        ("/>", " />"),
        ("<vertex ", "\n<vertex "),
        ('"', "'"),
        ("<vertices>", "<vertices >"),
        ('x="1"', 'x="1e0"'),
        ('x="1" y="0" z="0"', 'z="0" y="0" x="1"'),
        ('x="0" y="0" z="0"/>', 'x="0" y="0" z="0"></vertex>'),
    ],
)
def test_a_table_in_another_form_is_the_same(tmp_path, change):
    plain, other = (
        read(tmp_path, text).meshes["a"] for text in (model(), model().replace(*change))
    )
    assert change[0] in model()
    assert plain.vertices.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    assert plain.triangles.tolist() == [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
    assert (plain.vertices == other.vertices).all()
    assert (plain.triangles == other.triangles).all()


def test_rows_as_jiggen_writes_them_are_read_as_any_other(tmp_path):
    assert 'x="1.000000"' in plain(model())
    one, other = (read(tmp_path, text).meshes["a"] for text in (plain(model()), model()))
    assert (one.vertices == other.vertices).all() and (one.triangles == other.triangles).all()


def test_a_reader_of_xml_alone_sees_the_same():
    path = good_sample() / "bed-1.3mf"
    ours = read_3mf(path)
    with zipfile.ZipFile(path) as package:
        tree = ElementTree.fromstring(package.read(MODEL))
    core = {"": NAMESPACE}
    objects = tree.findall("resources/object", core)
    assert [entry.get("name") for entry in objects] == list(ours.meshes)
    for entry in objects:
        mesh = ours.meshes[entry.get("name")]
        vertices = [
            [float(row.get(key)) for key in "xyz"] for row in entry.iterfind(".//vertex", core)
        ]
        triangles = [
            [int(row.get(key)) for key in ("v1", "v2", "v3")]
            for row in entry.iterfind(".//triangle", core)
        ]
        assert np.abs(vertices - mesh.vertices).max() < 1e-4  # single precision
        assert (triangles == mesh.triangles).all()
    for entry, item in zip(tree.iterfind("build/item", core), ours.items, strict=True):
        numbers = [float(word) for word in entry.get("transform").split()]
        assert item.place[:3].T.ravel() == pytest.approx(numbers, abs=1e-5)
        assert item.piece == entry.get("partnumber")


def test_meshes_are_one_whatever_the_order_of_their_triangles():
    path = good_sample() / "parts/rail.stl"
    mesh = read_stl(path)
    rng = np.random.default_rng(3)
    order = rng.permutation(len(mesh.triangles))
    names = rng.permutation(len(mesh.vertices))
    vertices = np.empty_like(mesh.vertices)
    vertices[names] = mesh.vertices + rng.uniform(-1e-5, 1e-5, mesh.vertices.shape)
    other = Mesh(vertices, np.roll(names[mesh.triangles[order]], 1, axis=1))
    assert difference(other, mesh, 1e-3) == ""


def test_meshes_that_differ_say_how():
    mesh = read_stl(good_sample() / "parts/rail.stl")
    moved = mesh.vertices.copy()
    moved[5] += (0.0, 0.03, 0.04)
    assert "0.050 mm" in difference(Mesh(moved, mesh.triangles), mesh, 1e-3)
    turned = mesh.triangles.copy()
    turned[0] = turned[0, ::-1]
    assert "triangles join" in difference(Mesh(mesh.vertices, turned), mesh, 1e-3)
    assert "instead of" in difference(Mesh(mesh.vertices, mesh.triangles[1:]), mesh, 1e-3)
    assert len(mesh.triangles) == len(read_facets(good_sample() / "parts/rail.stl"))


def plain(text):
    """With rows of the form that jiggen writes."""
    return re.sub(r'(?<=[xyz]="[01])(?=")', ".000000", text)


@pytest.mark.parametrize("form", [str, plain], ids=["XML", "plain rows"])
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<model", "not well formed"),
        (model('<object id="1" name="a"><mesh/></object>'), "lacks its <vertices>"),
        (
            model('<object id="1" name="a"><mesh><vertices/><triangles/></mesh></object>'),
            "no triangles",
        ),
        (model().replace('v3="3"', 'v3="9"'), "corner is not there"),
        (model().replace('v3="3"', 'v3="-1"'), "a triangle of"),
        (model().replace('z="1"', 'z="nan"'), "a vertex of"),
        (model().replace('z="1"', 'z="1 1"'), "a vertex of"),
        (model().replace('z="1"', 'z="1e999"'), "too large"),
        (model().replace('z="1"', ""), "lacks its 'z'"),
        (model().replace('x="1"', 'x="one"'), "a vertex of"),
        (model().replace('x="1"', 'x="1_0"'), "a vertex of"),
        (model().replace('x="1"', 'x="\u0661"'), "a vertex of"),
        (model().replace('v3="3"', f'v3="{"9" * 400}"'), "a triangle of"),
        (model(f'<object id="1" name="a" x="{TETRAHEDRON}"/>'), "not well formed"),
        (model().replace("</vertices>", "</vertices>&none;"), "not well formed"),
        (model().replace('unit="m', 'unit="inch" unit="m'), "duplicate attribute"),
        (model(items=item(number=2)), "no object '2'"),
        (model(items=item("1 0 0")), "a transform of"),
        (model(items=item(f"{HERE} 1")), "a transform of"),
        (model(items=item("1 0 0 0 1 0 0 0 1 0 0 nan")), "a transform of"),
        (model(items=item("1 0 0 0 1 0 0 0 1 0 0 1e400")), "twelve numbers"),
        (model(items=item(" ".join(HERE.split() * 100))), "a transform of"),
        (model(f'<object id="1" name="a">{TETRAHEDRON}</object>' * 2), "two objects"),
        (model(f'<object id="1" name="a">{TETRAHEDRON}</object>' + TWIN), "two objects"),
        (model(f'<object id="-1" name="a">{TETRAHEDRON}</object>'), "of number '-1'"),
        (model(f'<object id="1" name="a&#10;b">{TETRAHEDRON}</object>'), "a name of"),
        (model(items='<item objectid="1"/>'), "lacks its 'partnumber'"),
    ],
)
def test_what_is_no_model_is_refused(tmp_path, text, said, form):
    with pytest.raises(ThreeMFError, match=said) as caught:
        read(tmp_path, form(text))
    assert not isinstance(caught.value, ForeignPartError)


def rows(before="", inside="", after=""):
    return model(f'{before}<object id="1" name="a"{inside}>{TETRAHEDRON}</object>{after}')


SLICE = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
BEAM = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
DATA = {"name": "jiggen:walls", "type": "xs:string", "preserve": "1"}


def metadata(**changed):
    given = " ".join(f'{key}="{value}"' for key, value in (DATA | changed).items())
    group = f"<metadatagroup><metadata {given}>3</metadata></metadatagroup>"
    text = rows().replace("<mesh>", f"{group}<mesh>")
    return text.replace("<model ", '<model xmlns:jiggen="' + ADVICE + '" ')


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_of_3mf_is_known(tmp_path, unit):
    found = read(tmp_path, model(unit=unit))
    assert (found.unit, found.millimetres) == (unit, UNITS[unit])
    assert read(tmp_path, model(unit="furlong")).millimetres is None


def test_our_metadata_is_read(tmp_path):
    assert read(tmp_path, metadata()).advice == {"a": {"walls": "3"}}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<other/>", "element <other>"),
        (model().replace("vertices", "v").replace("triangles", "vertices"), "element <v>"),
        ('<!DOCTYPE m [<!ENTITY a "b">]>' + model(), "document type"),
        ('<?xml version="1.0" encoding="UTF-16"?>' + model(), "UTF-8"),
        ('<?xml version="1.0" encoding="iso-8859-1"?>' + model(), "UTF-8"),
        ("<?slicer scale?>" + model(), "processing instruction"),
        (model().replace("<mesh>", "<mesh><!-- -->"), "a comment"),
        (model().replace("<mesh>", "<mesh><![CDATA[ ]]>"), "CDATA"),
        (model().replace("<mesh>", "<mesh>words"), "words in <mesh>"),
        (model().replace("<model ", '<model xml:space="preserve" '), "attribute '.*space'"),
        (model().replace("<model ", '<model requiredextensions="p" '), "'requiredextensions'"),
        (model().replace("<model ", f'<model xmlns:p="{PRODUCTION}" '), "a namespace"),
        (model().replace("<model ", f'<model xmlns:s="{SLICE}" '), "a namespace"),
        (model().replace("<mesh>", f'<mesh xmlns="{BEAM}">'), "a namespace"),
        (model().replace(NAMESPACE, NAMESPACE + "x"), "a namespace"),
        (model().replace("<vertices>", '<vertices plain-rows="0">'), "'plain-rows'"),
        (model().replace("<triangle ", "<vertex "), "element <vertex> in <triangles>"),
        (model().replace("<triangle ", '<triangle pid="1" '), "attribute 'pid'"),
        (model().replace("</build>", "</build><build/>"), "more than 1 <build>"),
        (model('<object id="1" name="a"><components/></object>'), "element <components>"),
        (rows(before='<basematerials id="9"/>'), "element <basematerials>"),
        (rows(inside=' type="support"'), "of the type 'support'"),
        (rows(inside=' type="solidsupport"'), "of the type 'solidsupport'"),
        (rows(inside=' type="surface"'), "of the type 'surface'"),
        (rows(inside=' type="other"'), "of the type 'other'"),
        (rows(inside=' thumbnail="/a.png"'), "attribute 'thumbnail'"),
        (rows(inside=' partnumber="a"'), "attribute 'partnumber'"),
        (model(items=item(more=' printable="0"')), "attribute 'printable'"),
        (model(items=item(more=' p="/3D/other.model"')), "attribute 'p'"),
        (model(items=item() * 501), "more than 500 <item>"),
        (metadata(name="Title"), "metadata 'Title'"),
        (metadata(name="jiggen2:scale"), "metadata 'jiggen2:scale'"),
        (metadata(type="xs:integer"), "metadata 'jiggen:walls'"),
        (model().replace("<resources>", "<metadata/><resources>"), "element <metadata>"),
    ],
)
def test_what_jiggen_does_not_write_is_foreign(tmp_path, text, said):
    with pytest.raises(ForeignPartError, match=said):
        read(tmp_path, text)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-8-sig", "utf-32"])
def test_another_encoding_is_refused(tmp_path, encoding):
    with pytest.raises(ThreeMFError):
        read(tmp_path, ('<?xml version="1.0"?>' + model()).encode(encoding))


def members(**changed):
    """The members of a sound package, some changed; None leaves one out."""
    sound = {TYPES_NAME: TYPES, RELATIONS_NAME: RELATIONSHIPS, MODEL: model()}
    return {name: text for name, text in (sound | changed).items() if text is not None}


TYPES_NAME, RELATIONS_NAME = "[Content_Types].xml", "_rels/.rels"
FIRST, LAST = RELATIONSHIPS.index("<Relationship "), RELATIONSHIPS.index("</Relationships>")
ONE = RELATIONSHIPS[FIRST:LAST]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"Metadata/settings.config": "<scale>98</scale>"}, "settings.config"),
        ({"3D/other.model": model()}, "other.model"),
        ({"3D/_rels/3dmodel.model.rels": RELATIONSHIPS}, "3dmodel.model.rels"),
        ({RELATIONS_NAME: RELATIONSHIPS.replace(ONE, ONE * 2)}, "more than 1 <Relationship>"),
        ({RELATIONS_NAME: RELATIONSHIPS.replace(MODEL, "../out.model")}, "a relationship to"),
        ({RELATIONS_NAME: RELATIONSHIPS.replace("2013", "2014")}, "a relationship to"),
        (
            {RELATIONS_NAME: RELATIONSHIPS.replace("Id=", 'TargetMode="External" Id=')},
            "'TargetMode'",
        ),
        ({TYPES_NAME: TYPES.replace("3dmodel+", "slice+")}, "content types"),
        ({TYPES_NAME: TYPES.replace("<Default", "<Override", 1)}, "element <Override>"),
    ],
)
def test_another_member_or_relationship_is_foreign(tmp_path, changed, said):
    path = tmp_path / "some.3mf"
    with zipfile.ZipFile(path, "w") as package:
        for name, text in members(**changed).items():
            package.writestr(name, text)
    with pytest.raises(ForeignPartError, match=said):
        read_3mf(path)


def test_a_difference_between_the_two_readings_is_foreign(tmp_path, monkeypatch):
    module = sys.modules[read_3mf.__module__]
    read(tmp_path, model(items=item()))
    whole = module._read_by_lib3mf
    for change in (
        lambda found: replace(found, items=()),
        lambda found: replace(found, unit="inch"),
        lambda found: replace(found, advice={"a": {"walls": "2"}}),
        lambda found: replace(
            found,
            meshes={"a": Mesh(found.meshes["a"].vertices * 1.02, found.meshes["a"].triangles)},
        ),
    ):
        monkeypatch.setattr(
            module, "_read_by_lib3mf", lambda *given, change=change: change(whole(*given))
        )
        with pytest.raises(ForeignPartError, match="differently"):
            read(tmp_path, model(items=item()))


def test_what_is_no_package_is_refused(tmp_path):
    path = tmp_path / "some.3mf"
    path.write_bytes(b"not a zip")
    with pytest.raises(ThreeMFError):
        read_3mf(path)
    whole = (good_sample() / "bed-1.3mf").read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(ThreeMFError):
        read_3mf(path)
    damaged = bytearray(whole)
    damaged[len(whole) // 2] ^= 0xFF
    path.write_bytes(damaged)
    with pytest.raises(ThreeMFError):
        read_3mf(path)
    for some in ({"a": "b"}, {"_rels/.rels": RELATIONSHIPS}, {"_rels/.rels": TYPES, MODEL: ""}):
        with zipfile.ZipFile(path, "w") as package:
            for name, text in some.items():
                package.writestr(name, text)
        with pytest.raises(ThreeMFError):
            read_3mf(path)
