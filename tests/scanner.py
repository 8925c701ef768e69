"""Whole flatbed scanners, drawn by Pillow: plates with holes as a bad scanner would see them.

Shares no code with the reader.  Millimetres; y up the picture, the origin in its middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from PIL import Image, ImageChops, ImageDraw, ImageFilter

GLASS = (216.0, 297.0)  # mm


@dataclass(frozen=True)
class Drilled:
    """A hole of the plate; `rim` is the width of a chamfer or countersink on the glass's side."""

    x: float
    y: float
    diameter: float
    rim: float = 0.0
    slot: float = 0.0  # how much longer than wide
    screw: bool = False
    ledge: float = 0.0  # width of a seat deep inside, around a narrower hole right through


@dataclass(frozen=True)
class Plate:
    holes: tuple[Drilled, ...]
    outline: tuple[tuple[float, float], ...]
    grey: float = 0.75  # of white; 0.15 a dark plate
    rim_grey: float = 0.55
    text: str = ""
    shine: float = 0.0  # of the brightness, in streaks as on brushed metal
    card: tuple[float, float] | None = None  # middle of a card of ISO/IEC 7810 beside it

    @property
    def places(self):
        return np.array([(hole.x, hole.y) for hole in self.holes])

    @property
    def mirrored(self):
        holes = tuple(replace(hole, x=-hole.x) for hole in self.holes)
        return replace(self, holes=holes, outline=tuple((-x, y) for x, y in self.outline))


@dataclass(frozen=True)
class Scanner:
    """What is wrong with one machine: where a point of the glass is seen, in mm."""

    scale: tuple[float, float] = (1.0, 1.0)
    square: float = 0.0  # rad that the carriage's way leans
    smooth: tuple[
        tuple[int, int, float, float, float], ...
    ] = ()  # along, of, amplitude, period, phase
    steps: tuple[tuple[float, float, float], ...] = ()  # sensor chips: at x, moved dx, dy
    dpi: float = 600.0
    blur: float = 1.2  # pixels
    noise: float = 0.01  # of white
    dust: int = 0  # specks on each 10 mm square
    shadow: float = 0.0  # mm on the side away from the lamp
    lid: float = 0.1  # how bright the holes are
    jitter: float = 0.0  # mm, of the carriage, new in each scan

    def seen(self, points, wobble=None):
        """(n, 2) where points (n, 2) of the glass are in the picture, mm."""
        x, y = np.asarray(points, float).T
        moved = np.stack([x * self.scale[0] + y * self.square, y * self.scale[1]])
        for along, of, amplitude, period, phase in self.smooth:
            moved[along] += amplitude * np.sin(2 * math.pi * (x, y)[of] / period + phase)
        for at, dx, dy in self.steps:
            moved[0] += np.where(x > at, dx, 0.0)
            moved[1] += np.where(x > at, dy, 0.0)
        if wobble is not None:
            for along, amplitude, period, phase in wobble:
                moved[along] += amplitude * np.sin(2 * math.pi * y / period + phase)
        return moved.T


def a_scanner(seed, **fixed):
    """A machine like those measured: off by some 0.02 to 0.2 mm r.m.s. beyond its scales."""
    random = np.random.default_rng([seed, 1])
    size = 0.06 * math.exp(random.normal(0, 0.6))  # mm
    smooth = [
        (along, of, part * size * random.normal(), period, random.uniform(0, 2 * math.pi))
        for along in (0, 1)
        for of in (0, 1)
        for part, period in zip((0.5, 1.2), random.uniform((120, 280), (250, 700)), strict=True)
    ]
    step, chips = 0.012 * math.exp(random.normal(0, 0.5)), np.arange(-100, 101, 18.3)
    steps = [(at + random.uniform(-2, 2), *random.normal(0, step, 2)) for at in chips]
    usual = {
        "scale": tuple(1 + random.normal(0, 0.002, 2)),
        "square": random.normal(0, 0.002),
        "smooth": tuple(smooth),
        "steps": tuple(steps) if random.random() < 0.5 else (),
        "blur": random.uniform(0.7, 2.0),
        "noise": random.uniform(0.004, 0.03),
        "dust": int(random.integers(0, 4)),
        "shadow": random.choice([0.0, random.uniform(0, 0.15)]),
        "lid": random.choice([0.05, 0.95]),
        "jitter": random.uniform(0, 0.006),
    }
    return Scanner(**{**usual, **fixed})


def a_plate(seed, length=(120.0, 250.0), holes=(5, 11)):
    """A plate with pairs of holes and one or two off the pairs, so that its turn can be told."""
    random = np.random.default_rng([seed, 2])
    long, count = random.uniform(*length), int(random.integers(*holes))
    wide, chosen = random.uniform(36, 60), []
    for x in np.linspace(-long / 2, long / 2, (count + 1) // 2):
        x += random.uniform(-0.08, 0.08) * long / count
        half = wide / 2 * random.uniform(0.6, 0.95)
        chosen += [(x, half), (x + random.normal(0, 1.5), -half * random.uniform(0.9, 1.0))]
    sizes, rim = random.uniform(4.0, 8.0, len(chosen)), random.choice([0.0, 0.3, 1.2])
    drilled = [
        Drilled(x, y, size, rim if random.random() < 0.5 else 0.0)
        for (x, y), size in zip(chosen[:count], sizes, strict=False)
    ]
    x, y = long / 2 + 12, wide / 2 + 6
    outline = ((-x, -y), (x, -y), (x, y), (-x, y))
    shine = random.choice([0.0, 0.0, 0.06])
    return Plate(tuple(drilled), outline, grey=random.choice([0.3, 0.45, 0.6, 0.75]), shine=shine)


@dataclass(frozen=True)
class Lying:
    """A plate on the glass of a scanner, turned by `turn` degrees and shifted."""

    scanner: Scanner
    plate: Plate
    turn: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)
    size: tuple[float, float] = GLASS
    seed: int = 0
    supersampling: int = 4

    @cached_property
    def wobble(self):
        random = np.random.default_rng([self.seed, 3])
        return [
            (
                along,
                self.scanner.jitter * random.normal(),
                random.uniform(20, 120),
                random.uniform(0, 6),
            )
            for along in (0, 1)
            for _ in range(2)
        ]

    @property
    def shape(self):
        return tuple(round(side * self.scanner.dpi / 25.4) for side in self.size)

    def pixels(self, points):
        """(n, 2) columns and rows of points (n, 2) of the plate."""
        turn = math.radians(self.turn)
        ways = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        on_glass = np.asarray(points, float) @ ways.T + self.shift
        seen = self.scanner.seen(on_glass, self.wobble) * self.scanner.dpi / 25.4
        return (np.array(self.shape) - 1) / 2 + seen * (1, -1)

    def box(self, hole, margin=2.5):
        """The pixels around a hole: left, top, width, height."""
        (column, row) = self.pixels([(hole.x, hole.y)])[0]
        half = math.ceil((hole.diameter / 2 + hole.rim + margin) * self.scanner.dpi / 25.4)
        return round(column) - half, round(row) - half, 2 * half, 2 * half

    def picture(self, box=None):
        """(rows, columns) of 8 bits: the whole, or the pixels in `box`."""
        left, top, wide, high = box or (0, 0, *self.shape)
        fine, scanner, plate = self.supersampling, self.scanner, self.plate
        margin = 8
        size = (wide + 2 * margin) * fine, (high + 2 * margin) * fine

        def place(points):
            return [
                ((c - left + margin + 0.5) * fine, (r - top + margin + 0.5) * fine)
                for c, r in self.pixels(points)
            ]

        def mask(points, lower=0.0):
            drawn = Image.new("L", size, 0)
            rows = lower * scanner.dpi / 25.4 * fine
            ImageDraw.Draw(drawn).polygon([(c, r + rows) for c, r in place(points)], fill=255)
            return drawn

        def grey(value):
            return round(255 * value)

        image = Image.new("L", size, grey(scanner.lid))
        draw = ImageDraw.Draw(image)
        draw.polygon(place(_along(plate.outline)), fill=grey(plate.grey))
        if plate.card:
            draw.polygon(place(_along(_card(*plate.card), 10)), fill=grey(0.5))
        for hole in plate.holes:
            if not _within(self.box(hole), (left, top, wide, high)):
                continue
            if hole.rim:
                draw.polygon(place(_rim(hole, hole.rim)), fill=grey(plate.rim_grey))
            inside = mask(_rim(hole))
            lit = ImageChops.darker(inside, mask(_rim(hole), scanner.shadow))
            shade = grey(0.08 if scanner.lid > 0.5 else 0.7 * plate.rim_grey)  # or the lit wall
            image.paste(shade, mask=inside)
            image.paste(grey(scanner.lid), mask=lit)
            if hole.ledge:
                image.paste(grey(0.35 * plate.grey), mask=lit)
                image.paste(grey(scanner.lid), mask=mask(_rim(hole, -hole.ledge)))
            if hole.screw:
                image.paste(grey(0.6), mask=mask(_rim(hole, -0.3)))
                for cross in ((0.16, 0.7), (0.7, 0.16)):
                    image.paste(grey(0.1), mask=mask(_bar(hole, *cross)))
        if plate.text:
            (at,) = place([(-20.0, 0.0)])
            draw.text(
                at, plate.text, fill=grey(0.05), font_size=round(3 * scanner.dpi / 25.4 * fine)
            )
        image = image.reduce(fine).filter(ImageFilter.GaussianBlur(scanner.blur))
        whole = np.asarray(image, dtype=np.float32)[margin:-margin, margin:-margin]
        return self._spoilt(whole, (left, top))

    def _spoilt(self, whole, corner):
        random = np.random.default_rng([self.seed, 4, *(abs(c) for c in corner)])
        whole = whole + random.normal(0, 255 * self.scanner.noise, whole.shape).astype(np.float32)
        rows, columns = whole.shape
        if self.plate.shine:
            streaks = np.convolve(random.normal(0, 1, rows + 8), np.ones(9) / 3, mode="valid")
            glare = np.linspace(-1, 1, columns) * self.plate.shine
            shining = whole * (1 + self.plate.shine * streaks[:, None] + glare)
            metal = abs(whole - 255 * self.plate.grey) < abs(whole - 255 * self.scanner.lid)
            whole = np.where(metal, shining, whole)
        specks = self.scanner.dust * whole.size * (25.4 / self.scanner.dpi / 10) ** 2
        for _ in range(random.poisson(specks)):
            r, c = int(random.integers(rows)), int(random.integers(columns))
            h, w = random.integers(2, 14, 2)
            whole[r : r + h, c : c + w] = 255 * random.choice([0.1, 0.9])
        return np.clip(np.round(whole), 0, 255).astype(np.uint8)


def _rim(hole, wider=0.0):
    """(n, 2) round the hole; a slot lies along x."""
    angles = np.linspace(0, 2 * math.pi, 240, endpoint=False)
    radius = hole.diameter / 2 + wider
    moved = np.where(np.cos(angles) > 0, 1, -1) * hole.slot / 2
    return np.stack(
        [hole.x + radius * np.cos(angles) + moved, hole.y + radius * np.sin(angles)], axis=1
    )


def _bar(hole, wide, long):
    x, y = wide * hole.diameter / 2, long * hole.diameter / 2
    return [(hole.x + a * x, hole.y + b * y) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]


def _card(x, y, long=85.6, wide=53.98, radius=3.18):
    """(n, 2) round a card: corners in arcs."""
    return [
        (
            x + a * (long / 2 - radius) + radius * math.cos(math.radians(start + turn)),
            y + b * (wide / 2 - radius) + radius * math.sin(math.radians(start + turn)),
        )
        for start, a, b in ((0, 1, 1), (90, -1, 1), (180, -1, -1), (270, 1, -1))
        for turn in range(0, 91, 10)
    ]


def _along(outline, pieces=60):
    """The outline in short pieces, so that it bends as the scanner bends it."""
    corners = np.array(outline)
    parts = [
        start + (end - start) * t
        for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True)
        for t in np.linspace(0, 1, pieces, endpoint=False)
    ]
    return np.array(parts)


def _within(box, other):
    """The two boxes share pixels."""
    return all(
        a < c + d and c < a + b
        for a, b, c, d in zip(box[:2], box[2:], other[:2], other[2:], strict=True)
    )
