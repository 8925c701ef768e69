"""The rooms stand in one row, and the light commands stay light."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import jiggen

PACKAGE = Path(jiggen.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))

# The road of DEVELOPERS.md: a room imports only rooms before it.
ROAD = (
    "pattern",
    "layout",
    "design",
    "solid",
    "export",
    "verify",
    "report",
    "pipeline",
    "request",
    "shelf",
    "desk",
    "cli",
)
# Rooms beside the road, each with the rooms it stands on; the rooms that only build and verify
# do without them.
BESIDE = {
    "measure": {"pattern"},
    "importing": {"pattern"},
    "remount": {"pattern", "layout"},
    "drilling": {"pattern", "layout"},
    "accuracy": {"pattern", "layout", "design"},
    "job": {"pattern", "layout", "design", "accuracy", "drilling", "measure"},
    "evening": {"pattern", "layout", "design", "accuracy", "drilling", "measure", "remount", "job"},
}
MAY_LOOK_ASIDE = {"export", "report", "pipeline", "request", "shelf", "desk", "cli"}
COMMON = {
    "errors",
    "units",
    "options",
    "tables",
    "files",
    "marks",
    "cautions",
    "advice",
    "progress",
    "cores",
    "executors",
    "draw",
    "inputs",
    "record",
    "outcome",
    "wording",
}
DATA = {"fonts", "licences", "patterns"}  # folders without a line of code
# The verification reads the pattern anew and lays it out: layout and drilling are the arithmetic
# that says what was asked for, and no geometry of what was made.
VERIFY_KNOWS_NOTHING_OF = {"design", "solid", "export", "record", *BESIDE} - {"drilling"}
KERNEL = {"cadquery", "OCP"}
KERNEL_ROOMS = {"solid"}
OPTION = re.compile(r"(?<![\w-])--[a-z]")
HEAVY = KERNEL | {"vtk", "vtkmodules", "pyvista", "trimesh"}


def room_of(module: Path) -> str:
    """The room a module stands in, or its own name at the top of the package."""
    return module.relative_to(PACKAGE).with_suffix("").parts[0]


def imports(module: Path, *, type_checking: bool = True) -> Iterator[str]:
    """Every module that `module` imports, wherever the import stands."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    skipped = set()
    if not type_checking:
        blocks = (n for n in ast.walk(tree) if isinstance(n, ast.If) and _is_type_checking(n.test))
        skipped = {inner for block in blocks for stated in block.body for inner in ast.walk(stated)}
    for node in ast.walk(tree):
        if node in skipped:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: relative import"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _is_type_checking(test: ast.expr) -> bool:
    return isinstance(test, ast.Name) and test.id == "TYPE_CHECKING"


def rooms_imported(module: Path) -> set[str]:
    """Rooms and common modules of ours that `module` imports."""
    ours = (name.split(".") for name in imports(module))
    return {parts[1] for parts in ours if parts[0] == "jiggen" and parts[1:] != ["__version__"]}


def libraries_imported(module: Path) -> set[str]:
    return {name.split(".")[0] for name in imports(module, type_checking=False)}


def ids(module: Path) -> str:
    return module.relative_to(PACKAGE).as_posix()


def test_every_folder_is_a_room_or_data():
    folders = {path.name for path in PACKAGE.iterdir() if path.is_dir()} - {"__pycache__"}
    assert folders - set(ROAD) - set(BESIDE) - COMMON - DATA == set()
    assert {room_of(module) for module in MODULES} >= {"pattern", "layout", "design", "cli"}


@pytest.mark.parametrize("module", MODULES, ids=ids)
def test_a_room_imports_only_what_it_stands_on(module: Path):
    assert rooms_imported(module) <= COMMON | may_import(room_of(module))


def may_import(room: str) -> set[str]:
    """Rooms that `room` may import, itself among them, common ground apart."""
    if room in BESIDE:
        return {room} | BESIDE[room]
    if room in ROAD:
        before = set(ROAD[: ROAD.index(room) + 1])
        aside = set(BESIDE) if room in MAY_LOOK_ASIDE else set()
        return before | aside | ({"drilling"} if room == "verify" else set())
    if room in ("__init__", "api"):  # the public functions, which import when they are called
        return {"api", "verify", "pipeline", *ROAD[:3], "drilling", "job", "measure"}
    return {"cli"} if room == "__main__" else set()  # errors, units …: nothing but one another


@pytest.mark.parametrize("module", MODULES, ids=ids)
def test_only_solid_knows_the_cad_kernel(module: Path):
    if room_of(module) not in KERNEL_ROOMS:
        assert not libraries_imported(module) & KERNEL


@pytest.mark.parametrize("module", [m for m in MODULES if room_of(m) == "verify"], ids=ids)
def test_the_verification_shares_nothing_with_what_it_verifies(module: Path):
    assert not rooms_imported(module) & VERIFY_KNOWS_NOTHING_OF


def test_the_layout_needs_numpy_alone():
    # and what the pattern room brings: pydantic
    loaded = loaded_by("import jiggen.layout")
    assert "numpy" in loaded
    assert not loaded & (HEAVY | {"scipy", "shapely", "ezdxf", "fontTools", "typer", "rich"})


@pytest.mark.parametrize(
    ("words", "also_without"),
    [
        (["--help"], {"numpy", "pydantic", "ezdxf", "shapely"}),
        (["--version"], {"numpy", "pydantic", "ezdxf", "shapely", "rich"}),
        (["layout", "--help"], {"numpy", "ezdxf", "shapely"}),
        (["build", "--help"], {"numpy", "ezdxf", "shapely"}),
        (["check", "--help"], {"numpy", "ezdxf", "shapely"}),
        (["layout", "club-piste", "--boot", "305"], {"ezdxf", "shapely", "scipy", "rich"}),
        (["layout", "club-piste", "--boot", "305", "--json"], {"ezdxf", "shapely", "rich"}),
        (["layout", "club-piste", "--boot", "0"], {"ezdxf", "shapely", "rich"}),
        (["layout", "club-piste", "--boot", "305", "--svg", "a.svg"], {"ezdxf", "shapely"}),
        (["layout", "club-piste", "--boot", "305", "--dxf", "a.dxf"], {"shapely"}),
        (["patterns"], {"ezdxf"}),
        (["show", "club-piste", "--svg", "a.svg"], {"ezdxf"}),
        (["remount", "--help"], {"numpy"}),
        (["scan", "--help"], {"numpy", "scipy", "PIL"}),
        (["shelf"], {"numpy", "ezdxf", "shapely", "scipy", "rich"}),
        (["accuracy", "club-piste", "--boot", "305", "--ski", "84-112"], {"matplotlib"}),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_light_commands_stay_light(words: list[str], also_without: set[str], tmp_path: Path):
    loaded = loaded_by(f"from jiggen.cli import main; main({words})", cwd=tmp_path)
    assert "typer" in loaded
    assert not loaded & (HEAVY | also_without)


@pytest.mark.parametrize(
    ("code", "also_without"),
    [
        ("import jiggen.pattern", {"numpy", "tomlkit"}),
        ("import jiggen.options", {"numpy", "pydantic", "typer", "rich"}),
        ("import jiggen.importing.job", {"numpy", "ezdxf"}),
        ("import jiggen.cli.new, jiggen.cli.questions", {"numpy", "ezdxf"}),
        ("import jiggen.verify", {"numpy", "scipy", "shapely"}),
        ("import jiggen.pipeline.witness", {"numpy", "scipy", "shapely", "pebble"}),
        ("import jiggen.tables; jiggen.tables.nut('M5')", {"numpy"}),
    ],
)
def test_a_module_loads_what_it_needs_and_no_more(code: str, also_without: set[str]):
    assert not loaded_by(code) & (HEAVY | also_without)


def test_a_layout_loads_no_record():
    # its models cost more than everything else of a layout
    code = "import jiggen.layout, sys; assert 'jiggen.record' not in sys.modules"
    assert "numpy" in loaded_by(code)


def test_the_kernel_comes_without_what_shows_things_on_a_screen():
    loaded = loaded_by("import jiggen.solid")
    assert loaded >= KERNEL
    assert "vtk" not in loaded  # that is all of it; what draws the picture is in vtkmodules


@pytest.mark.parametrize(("body", "asks_more"), [("", False), ("vtk.vtkObject", True)])
def test_a_module_that_asks_for_more_of_vtk_than_its_name_gets_it(
    body: str, asks_more: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    from jiggen.solid import kernel

    tried = f"try:\n    import vtk\n    {body}\n    Wanted = 1\nexcept AttributeError:\n    pass\n"
    (tmp_path / "asking.py").write_text(tried)
    (tmp_path / "vtk.py").write_text("vtkObject = 1")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(kernel, "ASKING", {"asking": "Wanted"})
    for name in ("vtk", "asking"):  # and after the test there is none of these
        monkeypatch.setitem(sys.modules, name, None)
        del sys.modules[name]
    kernel.load_without_display()
    assert sys.modules["asking"].Wanted == 1
    assert ("vtk" in sys.modules) is asks_more


def loaded_by(code: str, cwd: Path | None = None) -> set[str]:
    """Names of the top modules that a fresh interpreter has loaded after `code`."""
    whole = (
        f"import sys; sys.path.insert(0, {str(PACKAGE.parent)!r}); {code}; "
        "print('LOADED', *{name.split('.')[0] for name in sys.modules})"
    )
    command = [sys.executable, "-c", whole]
    run = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=True)
    return set(run.stdout.rpartition("LOADED")[2].split())


@pytest.mark.parametrize("module", MODULES, ids=ids)
def test_only_the_command_line_names_options(module: Path):
    # help texts of the table of options may name other options
    if room_of(module) in ("cli", "options", "request"):
        return
    tree = ast.parse(module.read_text(encoding="utf-8"))
    words = (n.value for n in ast.walk(tree) if isinstance(n, ast.Constant))
    assert not [text for text in words if isinstance(text, str) and OPTION.search(text)]
