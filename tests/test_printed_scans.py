"""``jiggen printed --scan`` and ``profile fit --scan``: verdicts and profiles without a caliper."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from glass import four, plan_of
from PIL import Image
from printed_samples import designed, write_jig
from printer_samples import Printer
from scanner import Lying, a_scanner
from shelf_samples import put_folder
from test_scan_known import gauge, places

from jiggen.cli import main
from jiggen.measure.printer.jig import PrintedJig
from jiggen.measure.scan import files
from jiggen.report.printed import read_printout
from jiggen.shelf.store import open_shelf

pytestmark = pytest.mark.usefixtures("as_if_verified")
SIZES = ((182, 78), (78, 182))  # mm, of a picture of a body and of it turned by a quarter
SCANS = [word for n in range(4) for word in ("--scan", f"{n}.png")]
Put = Callable[..., PrintedJig]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def glass(monkeypatch: pytest.MonkeyPatch) -> Put:
    """Lays a print of the jig in ``jig`` on the glass: its holes times `scale`, one shifted."""

    def put(
        scale: float = 1.0, pattern: str = "hut-plate", **shift: tuple[float, float]
    ) -> PrintedJig:
        jig = read_printout(write_jig(Path("jig"), designed("hut-plate"))).jig
        other = read_printout(write_jig(Path("other"), designed(pattern))).jig
        at = {
            hole: tuple(scale * np.array(place) + shift.get(hole.replace("-", "_"), (0.0, 0.0)))
            for hole, place in places(other).items()
        }
        monkeypatch.setattr(files, "look_at_all", lambda *_: four(at))
        return jig

    return put


def distance(jig: PrintedJig, one: str, other: str, scale: float = 1.0) -> list[str]:
    """What a caliper reads over pins in that print, less the pins."""
    return ["--distance", f"{one}-{other}:centre={scale * np.hypot(*jig.apart((one, other))):.2f}"]


def said(capsys: pytest.CaptureFixture[str]) -> tuple[str, str]:
    seen = capsys.readouterr()
    return " ".join(seen.out.split()), " ".join(seen.err.split())


def test_bodies_are_used_by_scans_of_their_written_files(folder, capsys):
    """Pictures drawn by another library: pockets with their chamfered mouths, and the seats in
    them with bright throats, which are not taken for the pockets.
    """
    jig = read_printout(folder).jig
    scanner = a_scanner(2, dpi=300, lid=0.95, dust=1)
    for n, (name, size) in enumerate((name, size) for name in ("toe", "heel") for size in SIZES):
        body = plan_of(folder / "parts" / f"body-{name}.stl", grey=0.3)
        laid = Lying(scanner, body, 90 * (n % 2) + 1, (1, 0.5), size, seed=n, supersampling=2)
        Image.fromarray(laid.picture()).save(f"{n}.png", dpi=(300, 300))
    words = ["printed", str(folder), *SCANS, *distance(jig, "toe-1", "toe-4")]
    assert main([*words, "--limit", "0.6", "--svg", "seen.svg"]) == 0
    out, err = said(capsys)
    assert "USE IT: every hole is within" in out
    assert "The scans have, as one: toe-1, toe-2, toe-3, toe-4 and toe-5" in out
    assert "How wide the pockets are stays for the gauge or the bush in hand" in out
    assert "warning: " in err
    assert Path("seen.svg").read_text().count("heel-3") >= 2


def test_one_half_a_percent_short_is_printed_again(glass, capsys):
    jig = glass(scale=0.995)
    words = ["printed", "jig", *SCANS, *distance(jig, "front-1", "rear-4", 0.995)]
    assert main([*words, "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["verdict"] == "reprint"
    assert data["refused"][0]["code"] == "printer.off"
    assert data["profile"]["scale_x"] == pytest.approx(0.995, abs=2e-3)
    assert data["scanned"] == [list(jig.holes)]
    assert len(data["scans"]["seen"]) == 32


def test_a_hole_that_lies_off_is_named(glass, capsys):
    jig = glass(rear_2=(0.28, 0.28))
    words = ["printed", "jig", *SCANS, *distance(jig, "front-1", "rear-4")]
    assert main(words) == 1
    out, err = said(capsys)
    assert "PRINT IT AGAIN" in out
    assert "holes are off by more than 0.28 mm: rear-2 by 0." in err
    assert main([*words, "--leave-out", "rear-2"]) == 0
    assert "no scan has these holes: rear-2" in said(capsys)[1]


def test_without_a_distance_it_is_not_decided(glass, capsys):
    glass()
    assert main(["printed", "jig", *SCANS]) == 1
    out, err = said(capsys)
    assert "Not known well enough yet" in out
    assert "no distance was measured: the scale is known to" in err
    assert "holes may be off by more than 0.28 mm" in err


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--distance", "front-1-rear-4:centre=170.00"], "no scanner is so far off"),
        (["--distance", "front-1-toe-4:centre=150.00"], "is not a valid distance"),
        (["--turned", "0,90"], "2 turns for 4 scans"),
        (["--blank", "m.toml"], "readings and --blank at once"),
        (["--svg", "jig/seen.svg"], "would be in the jig's own folder"),
    ],
)
def test_what_cannot_be_is_refused(more, words, glass, capsys):
    glass()
    assert main(["printed", "jig", *SCANS, *more]) in (1, 2)
    assert words in said(capsys)[1]


def test_the_wrong_body_is_refused(glass, capsys):
    glass(pattern="club-piste")
    assert main(["printed", "jig", *SCANS]) == 2
    assert "they lie as in none of: body with 8" in said(capsys)[1]


def test_the_verdict_reaches_the_shelf(monkeypatch, capsys):
    mark = put_folder(Path("a"))
    jig = read_printout(Path("a")).jig
    monkeypatch.setattr(files, "look_at_all", lambda *_: four(places(jig), size=(500.0, 500.0)))
    main(["shelf", "add", "a"])
    words = ["printed", "a", *SCANS, *distance(jig, "toe-1", "heel-4"), "--by", "Resi"]
    assert main([*words, "--limit", "0.5"]) == 0
    assert f"On the shelf: {mark}" in said(capsys)[0]
    with open_shelf() as shelf:
        event = shelf.events(mark)[-1]
    assert (event.doing, event.passed, event.by) == ("measured", True, "Resi")
    assert json.loads(event.readings)["scanned"] == [list(jig.holes)]


@pytest.mark.parametrize("read", [False, True])
def test_a_profile_by_scans_of_the_gauge(read, monkeypatch, capsys):
    """With a distance of the scans' own, or with the file's readings of two holes."""
    from test_scan_known import FEATURES

    printer = Printer(1.004, 0.998, 0.2, -0.1)
    at, widths = gauge(printer)
    monkeypatch.setattr(files, "look_at_all", lambda *_: four(at, widths=widths))
    length = float(np.hypot(*np.subtract(at["E"], at["F"])))
    rows = "".join(
        f'{name} = {{kind = "hole", at = [{one.at[0]}, {one.at[1]}], diameter = 8.0}}\n'
        for name, one in FEATURES.items()
    )
    value, width = (f"{length + 7.9:.2f}", "7.9") if read else ('""', '""')
    Path("g.toml").write_text(
        f'measurements = 1\n[features]\n{rows}[[distance]]\nbetween = ["E", "F"]\n'
        f'edges = "outside"\nvalue = {value}\n'
        + "".join(f'[[diameter]]\nof = "{name}"\nvalue = {width}\n' for name in "EF")
    )
    more = [] if read else ["--distance", f"E-F:centre={length:.2f}"]
    assert main(["profile", "fit", "g.toml", "--name", "club", *SCANS, *more, "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["profile"]["scale_x"] == pytest.approx(1.004, abs=1.5e-3)
    assert made["profile"]["scale_y"] == pytest.approx(0.998, abs=1.5e-3)
    assert made["profile"]["skew"] == pytest.approx(0.2, abs=0.1)
    assert made["profile"]["hole"] == pytest.approx(-0.1 if read else 0.0, abs=0.05)
    unmeasured = [one["message"] for one in made["warnings"] if one["code"].endswith("unmeasured")]
    assert any("how high" in words for words in unmeasured)
