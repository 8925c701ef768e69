"""Pictures of a flatbed scanner, with their resolution; photographs and bombs are refused.

Everything that decides whether a picture is read is in its header, and asked before it is unpacked.
Of a colour picture the green channel alone is kept: sensors that light red, green and blue one
after the other put the three a third of a line apart (common practice, no source).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError
from jiggen.progress import note
from jiggen.units import INCH

if TYPE_CHECKING:
    from PIL.Image import Image

T = TypeVar("T")
FORMATS = ("PNG", "TIFF", "JPEG")
FINEST, COARSEST = 1200.0, 300.0  # dpi
MOST_PIXELS = 150_000_000  # A4 at 1200 dpi has 139 million
GLASS = (320.0, 460.0)  # mm; the largest office scanners take A3, 297 × 420 mm (ISO 216)
_SLACK = 0.01  # of the resolution: 300 dpi may be written as 299.7
# Exif 2.32: exposure time, aperture, ISO speed, focal length; a scanner writes none of them.
_CAMERA = (33434, 33437, 34855, 37386)
_EXIF, _GPS = 0x8769, 0x8825
_BLOCKY = 25.0  # mean of a JPEG's brightness divisors: about quality 78 (ITU-T T.81, annex K)
# Parallax: what stands h above the plane of the rims is seen too large by h / distance.
_RIM, _CAMERA_AWAY, _OVER = 5.0, 600.0, 150.0
PHONE = (
    f"A rim {_RIM:g} mm above the plane is {_RIM / (_CAMERA_AWAY - _RIM):.2%} too large at "
    f"{_CAMERA_AWAY:g} mm: {_OVER * _RIM / (_CAMERA_AWAY - _RIM):.1f} mm over {_OVER:g} mm. "
    "Lay the plate on a flatbed scanner and scan at 600 dpi, grey, as PNG or TIFF."
)
_RESCAN = "Scan again at 600 dpi, grey, as PNG or TIFF, and send the file as the scanner wrote it."


@dataclass(frozen=True, eq=False)
class Scan:
    """One picture: `pixels` (rows, columns) as stored, `pitch` mm along the sensor and carriage."""

    source: str
    pixels: NDArray[np.uint8] | NDArray[np.uint16]
    pitch: tuple[float, float]

    @property
    def full(self) -> float:
        """The value of white."""
        return float(np.iinfo(self.pixels.dtype).max)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in mm, by the file's own resolution."""
        rows, columns = self.pixels.shape
        return columns * self.pitch[0], rows * self.pitch[1]


def read_scan(path: Path) -> Scan:
    """The scan in `path`.

    Raises InputError ``scan.unreadable``, ``scan.photograph``, ``scan.resolution``,
    ``scan.too-large`` or ``scan.black-and-white``.
    """
    source = str(path)

    def read(picture: Image) -> Scan:
        pitch = _judge(picture, source)
        return Scan(source, _grey(picture, source), pitch)

    return _opened(path, read)


def format_of(path: Path) -> str:
    """PNG, TIFF or JPEG: what a scan is, by its head alone.  Raises as `read_scan`."""

    def read(picture: Image) -> str:
        _judge(picture, str(path))
        return picture.format or ""

    return _opened(path, read)


def _opened(path: Path, read: Callable[[Image], T]) -> T:
    """What `read` makes of the picture, which is not unpacked yet.  Raises as `read_scan`."""
    from PIL import Image, UnidentifiedImageError

    source = str(path)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the limit is ours
        try:
            with Image.open(path, formats=FORMATS) as picture:
                return read(picture)
        except InputError:
            raise
        except Image.DecompressionBombError:
            raise _too_large(source, "more than 179") from None
        except UnidentifiedImageError:
            message = "the file is not a PNG, TIFF or JPEG picture"
        except OSError as error:
            message = f"cannot read the picture: {error.strerror or 'the file is damaged'}"
        except Exception as error:  # a damaged file trips the library anywhere
            message = f"the picture is damaged ({type(error).__name__})"
    raise InputError.of("scan.unreadable", message, where=source, hint=_RESCAN)


def _judge(picture: Image, source: str) -> tuple[float, float]:
    """The pitch in mm, from the header alone; raises InputError for what is not a scan."""
    columns, rows = picture.size
    if columns * rows > MOST_PIXELS:
        raise _too_large(source, f"{columns * rows / 1e6:.0f}")
    if _is_photograph(picture):
        message = "this is a photograph: its file names a camera's exposure"
        raise InputError.of("scan.photograph", message, where=source, hint=PHONE)
    dpi = picture.info.get("dpi")
    if not dpi:
        message = "the picture has no resolution: a photograph, or sent through a messenger"
        raise InputError.of("scan.resolution", message, where=source, hint=f"{PHONE} {_RESCAN}")
    across, along = (float(value) for value in dpi)
    low, high = COARSEST * (1 - _SLACK), FINEST * (1 + _SLACK)
    if not (low <= across <= high and low <= along <= high):
        message = (
            f"the picture's resolution is {across:.4g} × {along:.4g} dpi; "
            f"allowed: {COARSEST:g} to {FINEST:g}"
        )
        hint = f"{_RESCAN} A photograph does not serve. {PHONE}"
        raise InputError.of("scan.resolution", message, where=source, hint=hint)
    if abs(across / along - 1) > _SLACK:
        message = f"the resolution is {across:.4g} dpi across and {along:.4g} dpi along"
        raise InputError.of("scan.resolution", message, where=source, hint=_RESCAN)
    pitch = INCH / across, INCH / along
    width, height = sorted((columns * pitch[0], rows * pitch[1]))
    if width > GLASS[0] or height > GLASS[1]:
        message = (
            f"at {across:.4g} dpi the picture would be {width:.0f} × {height:.0f} mm, "
            f"more than any glass ({GLASS[0]:g} × {GLASS[1]:g} mm)"
        )
        raise InputError.of("scan.resolution", message, where=source, hint=f"{PHONE} {_RESCAN}")
    if getattr(picture, "n_frames", 1) != 1:
        message = "the file holds several pictures"
        raise InputError.of("scan.unreadable", message, where=source, hint="One scan in each file.")
    return pitch


def _is_photograph(picture: Image) -> bool:
    """A camera wrote it, by its tags; a PNG without tags in its head would be unpacked for them."""
    if picture.format == "PNG" and "exif" not in picture.info:
        return False
    exif = picture.getexif()
    return any(tag in {**exif, **exif.get_ifd(_EXIF)} for tag in _CAMERA) or bool(
        exif.get_ifd(_GPS)
    )


def _too_large(source: str, millions: str) -> InputError:
    message = f"the picture has {millions} million pixels; allowed: {MOST_PIXELS / 1e6:g}"
    hint = "A4 at 600 dpi has 35 million, and that is fine enough."
    return InputError.of("scan.too-large", message, where=source, hint=hint)


def _grey(picture: Image, source: str) -> NDArray[Any]:
    """The pixels, unpacked: 8 or 16 bit, one channel."""
    if picture.mode == "1":
        message = "the picture is black and white: where the edge lies is lost"
        raise InputError.of("scan.black-and-white", message, where=source, hint=_RESCAN)
    tables = getattr(picture, "quantization", None)
    if tables and float(np.mean(tables[min(tables)])) > _BLOCKY:
        message = "the picture is strongly compressed, which moves edges"
        note(Finding("scan.compressed", message, source, hint="Scan as PNG or TIFF."))
    if picture.mode in ("RGB", "RGBA"):
        return np.asarray(picture.getchannel("G"))
    if picture.mode.startswith("I;16"):
        return np.asarray(picture).astype(np.uint16)
    if picture.mode in ("I", "F"):
        message = f"the picture has {'32 bit' if picture.mode == 'I' else 'floating-point'} pixels"
        raise InputError.of("scan.unreadable", message, where=source, hint=_RESCAN)
    return np.asarray(picture.convert("L"))
