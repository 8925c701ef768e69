"""Mutations of the beds' 3MF packages: what one reader of them follows and another does not."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from mutation import Kind, Mutation
from verify_samples import BED, MODEL
from zip_samples import Entry, archive, entries

FOREIGN, UNREADABLE = ("verify.foreign",), ("verify.unreadable",)
EITHER = (*FOREIGN, *UNREADABLE)
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
BEAM = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
SLICE = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
RELATIONS = "_rels/.rels"
OTHER = "3D/other.model"
Edit = Callable[[list[Entry]], list[Entry]]


def _packed(edit: Edit, **around: object) -> Callable[[Path], None]:
    """Write a bed's archive anew, its members edited."""

    def apply(folder: Path) -> None:
        path = folder / BED
        before = path.read_bytes()
        path.write_bytes(archive(edit(entries(path)), **around))  # type: ignore[arg-type]
        assert path.read_bytes() != before

    return apply


def _member(name: str, change: Callable[[bytes], bytes]) -> Edit:
    def edit(members: list[Entry]) -> list[Entry]:
        (old,) = (one for one in members if one.name == name.encode())
        new = replace(old, content=change(old.content))
        assert new != old, f"{name} is as it was"
        return [new if one is old else one for one in members]

    return edit


def _model(old: str, new: str, count: int = 1) -> Callable[[Path], None]:
    """A model's text with `old`, a pattern, replaced."""
    return _packed(
        _member(MODEL, lambda text: re.sub(old, new, text.decode(), count=count).encode())
    )


def _scaled(members: list[Entry], factor: float = 1.02) -> bytes:
    """The model with all its corners scaled."""
    (model,) = (one.content for one in members if one.name == MODEL.encode())
    return re.sub(
        r'(?<= [xyz]=")[^"]*', lambda found: f"{float(found[0]) * factor:.6f}", model.decode()
    ).encode()


def _more(name: str, content: Callable[[list[Entry]], bytes], *, first: bool = False) -> Edit:
    def edit(members: list[Entry]) -> list[Entry]:
        entry = Entry(name.encode(), content(members))
        return [entry, *members] if first else [*members, entry]

    return edit


def _second_relationship(members: list[Entry]) -> list[Entry]:
    members = _more(OTHER, _scaled)(members)

    def twice(text: bytes) -> bytes:
        (one,) = re.findall(rb"<Relationship .*?/>", text)
        other = one.replace(b"rel0", b"rel1").replace(MODEL.encode(), OTHER.encode())
        return text.replace(one, other + one)

    return _member(RELATIONS, twice)(members)


def _changed(name: str, **fields: object) -> Edit:
    """A member whose headers say something else."""

    def edit(members: list[Entry]) -> list[Entry]:
        return [
            replace(one, **fields) if one.name == name.encode() else one  # type: ignore[arg-type]
            for one in members
        ]

    return edit


def _production(members: list[Entry]) -> list[Entry]:
    def outside(text: bytes) -> bytes:
        text = text.replace(b"<model ", b'<model xmlns:p="%b" ' % PRODUCTION.encode(), 1)
        return text.replace(b"<item ", b'<item p:path="/%b" ' % OTHER.encode(), 1)

    return _member(MODEL, outside)(_more(OTHER, _scaled)(members))


def _components(folder: Path) -> None:
    """The first object placed by another, twice as large."""
    scaled = '<component objectid="1" transform="2 0 0 0 2 0 0 0 2 0 0 0"/>'
    _model(
        "</resources>",
        f'<object id="99" name="more"><components>{scaled}</components></object></resources>',
    )(folder)


def _trailing(folder: Path) -> None:
    path = folder / BED
    members = entries(path)
    path.write_bytes(
        archive(_member(MODEL, lambda _: _scaled(members))(members), before=_whole(path))
    )


def _whole(path: Path) -> bytes:
    return path.read_bytes()


def _utf16(text: bytes) -> bytes:
    return text.decode().replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16")


def _row(
    name: str,
    apply: Callable[[Path], None],
    caught_by: tuple[str, ...] = FOREIGN,
    product: Kind = "jig",
) -> Mutation:
    return Mutation(name, "3MF", apply, caught_by, product)


MUTATIONS = [
    _row("an item is not printable", _model("<item ", '<item printable="0" ')),
    *(
        _row(f"an object is of the type {kind}", _model('type="model"', f'type="{kind}"'))
        for kind in ("support", "solidsupport", "surface", "other")
    ),
    _row(
        "two members of one name, the first scaled 1.02",
        _packed(_more(MODEL, _scaled, first=True)),
        UNREADABLE,
    ),
    _row(
        "two members of one name, the last scaled 1.02", _packed(_more(MODEL, _scaled)), UNREADABLE
    ),
    _row(
        "a member whose name differs in capitals, scaled 1.02",
        _packed(_more(MODEL.replace("3dmodel", "3DModel"), _scaled, first=True)),
        UNREADABLE,
    ),
    _row("a second relationship to another model, first", _packed(_second_relationship)),
    _row("the production extension prints another model", _packed(_production)),
    _row(
        "a slicing program's settings, scale 98 %",
        _packed(_more("Metadata/model_settings.config", lambda _: b"<config scale='0.98'/>")),
    ),
    _row(
        "a slicing program's settings for a layer of 0.35 mm",
        _packed(_more("Metadata/project.config", lambda _: b"; layer_height = 0.35\n")),
    ),
    _row(
        "a trial plate with a slicing program's settings",
        _packed(_more("Metadata/project.config", lambda _: b"; layer_height = 0.35\n")),
        product="trial",
    ),
    _row(
        "a gauge whose item is not printable",
        _model("<item ", '<item printable="0" '),
        product="gauge",
    ),
    _row("an object placed by another, twice as large", _components),
    _row(
        "a second build",
        _model("</model>", '<build><item objectid="1" partnumber="body-toe"/></build></model>'),
    ),
    _row(
        "a beam lattice in a mesh",
        _model("</triangles>", f'</triangles><b:beamlattice xmlns:b="{BEAM}" radius="1"/>'),
    ),
    _row(
        "the slice extension is required",
        _model("<model ", f'<model xmlns:s="{SLICE}" requiredextensions="s" '),
    ),
    _row(
        "a local header names another file",
        _packed(_changed(MODEL, directory={"name": b"3D/3dmodel.other"})),
        UNREADABLE,
    ),
    _row(
        "the relationship points outside of the package",
        _packed(_member(RELATIONS, lambda text: text.replace(b'"/3D/', b'"../../3D/'))),
    ),
    _row(
        "the relationship is external",
        _packed(
            _member(RELATIONS, lambda text: text.replace(b" Id=", b' TargetMode="External" Id='))
        ),
    ),
    _row(
        "another relationship, to a picture",
        _packed(
            _member(
                RELATIONS,
                lambda text: text.replace(
                    b"</Relationships>",
                    b'<Relationship Id="r9" Target="/a.png" Type="http://schemas.openxmlformats'
                    b'.org/package/2006/relationships/metadata/thumbnail"/></Relationships>',
                ),
            )
        ),
    ),
    _row("the unit twice", _model("<model ", '<model unit="inch" '), UNREADABLE),
    _row("the unit is the inch", _model("millimeter", "inch"), ("verify.unit",)),
    _row("the unit in another vocabulary", _model("unit=", "xml:unit=")),
    _row("xml:space in the model", _model("<model ", '<model xml:space="preserve" ')),
    _row("a transform of thirteen numbers", _model(r'(transform="[^"]*)"', r'\1 1"'), UNREADABLE),
    _row(
        "an item scaled 1.002", _model('transform="1 ', 'transform="1.002 '), ("verify.not-rigid",)
    ),
    _row(
        "a document type with an entity",
        _model("<model ", '<!DOCTYPE model [<!ENTITY a "b">]><model '),
    ),
    _row("a model in UTF-16", _packed(_member(MODEL, _utf16)), EITHER),
    _row("a model with a byte-order mark", _packed(_member(MODEL, lambda t: b"\xef\xbb\xbf" + t))),
    _row("another archive before it", _trailing, UNREADABLE),
    _row("a comment behind its end", _packed(list, comment=b"scale = 0.98"), UNREADABLE),
    _row("bytes between its members", _packed(list, between=b"\0"), UNREADABLE),
    _row("an encrypted member", _packed(_changed(MODEL, flags=1)), UNREADABLE),
    _row("a member that lies about its size", _packed(_changed(MODEL, size=1000)), UNREADABLE),
    _row("a member that is a link", _packed(_changed(RELATIONS, mode=0o120777 << 16)), UNREADABLE),
    _row(
        "an extra field with another name", _packed(_changed(MODEL, extra=b"up\1\0a")), UNREADABLE
    ),
    _row(
        "an override of a content type",
        _packed(
            _member(
                "[Content_Types].xml",
                lambda text: text.replace(
                    b"</Types>",
                    b'<Override PartName="/3D/3dmodel.model" ContentType="a/b"/></Types>',
                ),
            )
        ),
    ),
    _row("metadata of another vocabulary", _model("jiggen:walls", "scale")),
    _row(
        "fewer walls advised than in the record",
        _model(r"(walls\"[^>]*>)\d", r"\g<1>1"),
        ("verify.advice",),
    ),
    _row("a comment in the mesh", _model("<mesh>", "<mesh><!-- <vertices/> -->")),
    _row("a mesh with its own transform", _model("<mesh>", '<mesh transform="2 0 0">')),
    _row("a property on a triangle", _model("<triangle ", '<triangle pid="1" ')),
]
