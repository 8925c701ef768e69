from __future__ import annotations

import zipfile
from xml.etree import ElementTree

import numpy as np
import pytest
from verify_samples import MODEL, RELATIONSHIPS, TYPES, good_sample, read_facets, write_package

from jiggen.verify.beds import difference
from jiggen.verify.reading.mesh import Mesh, read_stl
from jiggen.verify.reading.threemf import ThreeMFError, read_3mf

NAMESPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
TETRAHEDRON = (
    '<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>'
    '<vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices><triangles>'
    '<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'
    '<triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh>'
)
TWIN = f'<object id="2" name="a">{TETRAHEDRON}</object>'


def model(objects=f'<object id="1" name="a">{TETRAHEDRON}</object>', items="", unit="millimeter"):
    return (
        f'<model unit="{unit}" xmlns="{NAMESPACE}"><resources>{objects}</resources>'
        f"<build>{items}</build></model>"
    )


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
    item = '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 20 30"/>'
    (found,) = read(tmp_path, model(items=item)).items
    assert (found.place @ (1, 0, 0, 1)).tolist() == [10, 21, 30, 1]
    assert (found.place @ (0, 1, 0, 1)).tolist() == [9, 20, 30, 1]


@pytest.mark.parametrize(
    "change",
    [
        ("/>", " />"),
        ("<vertex ", "\n<vertex "),
        ('"', "'"),
        ("<vertices>", "<vertices ><!-- rows -->"),
        ('x="1"', 'x="1e0"'),
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


def test_a_table_that_is_commented_out_is_none(tmp_path):
    first, rest = TETRAHEDRON.replace('x="1"', 'x="7"'), TETRAHEDRON[len("<mesh>") :]
    package = read(
        tmp_path, model(f'<object id="1" name="a"><mesh><!-- {first} -->{rest}</object>')
    )
    assert package.meshes["a"].vertices.max() == 1


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


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("<model", "No model node"),
        ("<other/>", "No model node"),
        ('<!DOCTYPE m [<!ENTITY a "b">]>' + model(), "document type"),
        (model('<object id="1" name="a"><components/></object>'), "not a mesh"),
        (model('<object id="1" name="a"><mesh/></object>'), "no triangles"),
        (model().replace('v3="3"', 'v3="9"'), "Invalid model node index"),
        (model().replace('v3="3"', 'v3="-1"'), "Invalid model node index"),
        (model().replace('z="1"', 'z="nan"'), "Invalid Model Coordinates"),
        (model().replace('z="1"', 'z="1e999"'), "to double"),
        (model().replace('z="1"', ""), "missing a coordinate"),
        (model().replace('x="1"', 'x="one"'), "to double"),
        (model().replace('v3="3"', f'v3="{"9" * 400}"'), "to integer"),
        (model().replace("<triangle ", "<vertex ").replace('v1="1"', 'v1="one"'), "Element"),
        (model().replace("vertices", "v").replace("triangles", "vertices"), "Element"),
        (model(f'<object id="1" name="a" x="{TETRAHEDRON}"/>'), "XML attribute"),
        (model().replace("</vertices>", "</vertices>&none;"), "escape character"),
        (model(items='<item objectid="2"/>'), "associated to the Build item"),
        (model(items='<item objectid="1" transform="1 0 0"/>'), "<12"),
        (model(items='<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 nan"/>'), "twelve"),
        (model(f'<object id="1" name="a">{TETRAHEDRON}</object>' * 2), "Duplicate"),
        (model(f'<object id="1" name="a">{TETRAHEDRON}</object>' + TWIN), "two objects"),
        (model(items='<item objectid="1"/>' * 501), "more than 500 pieces"),
    ],
)
def test_what_a_jig_does_not_hold_is_refused(tmp_path, text, said):
    with pytest.raises(ThreeMFError, match=said):
        read(tmp_path, text)


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
    for members in ({"a": "b"}, {"_rels/.rels": RELATIONSHIPS}, {"_rels/.rels": TYPES, MODEL: ""}):
        with zipfile.ZipFile(path, "w") as package:
            for name, text in members.items():
                package.writestr(name, text)
        with pytest.raises(ThreeMFError):
            read_3mf(path)
