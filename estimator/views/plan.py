"""A plan-view drawing of a car of our own, nose to the left, its areas in the stronger colour the more is expected
to be spent there. The dearest areas carry a number that the list beside the drawing explains."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from html import escape

import pandas as pd

from estimator.views import words

WIDTH, HEIGHT = 420, 214
NUMBERED = 6
PALEST, DARKEST = 0.05, 0.92


@dataclass(frozen=True)
class Colours:
    """Ink for lines and words, paper behind them, shade for the areas: "#rrggbb" from the theme."""

    ink: str = "#22262a"
    paper: str = "#faf7f1"
    shade: str = "#1d5566"


@dataclass(frozen=True)
class Area:
    """Shapes of one area (SVG elements without colours) and where its number stands."""

    shapes: tuple[str, ...]
    number: tuple[float, float]


def _box(x: float, y: float, width: float, height: float, corner: float = 3) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="{corner:g}"/>'


def _path(d: str) -> str:
    return f'<path d="{d}"/>'


def _both_sides(x: float, y: float, width: float, height: float, corner: float = 3) -> tuple[str, str]:
    """A box and its mirror image about the middle line."""
    return _box(x, y, width, height, corner), _box(x, HEIGHT - y - height, width, height, corner)


MIDDLE = HEIGHT / 2
FRONT, REAR = 96.0, 318.0  # where the wheels stand along the car

OUTER = (
    "M30 107 C30 66 36 48 58 42 C110 32 150 34 210 33 C280 32 340 34 372 42 C392 48 398 68 398 107 "
    "C398 146 392 166 372 172 C340 180 280 182 210 181 C150 180 110 182 58 172 C36 166 30 148 30 107 Z"
)
INNER = (
    "M42 107 C42 74 48 58 66 53 C112 44 152 46 210 45 C280 44 334 46 364 53 C380 58 386 76 386 107 "
    "C386 138 380 156 364 161 C334 168 280 170 210 169 C152 168 112 170 66 161 C48 156 42 140 42 107 Z"
)


def areas(traits: Collection[str]) -> Mapping[str, Area]:
    """The drawing for a car built like this: where the engine is and what drives which wheels."""
    behind = "rear-engine" in traits
    middle = "mid-engine" in traits
    front_drive = "front-drive" in traits
    engine_x = 330.0 if behind else 252.0 if middle else 68.0
    across = front_drive or middle
    seats: tuple[str, ...] = _both_sides(186, 62, 34, 32, 8)
    if not middle:
        seats += _both_sides(238, 62, 34, 32, 8)
    engine = _box(engine_x, 84, 34, 46) if across else _box(engine_x, 86, 48, 42)
    drawn: dict[str, Area] = {
        "body": Area((f'<path fill-rule="evenodd" d="{OUTER} {INNER}"/>',), (214, 175)),
        "glass": Area(
            (
                _path("M150 62 C142 84 142 130 150 152 L170 144 C164 126 164 88 170 70 Z"),
                _path("M300 66 C306 88 306 126 300 148 L286 141 C290 124 290 90 286 73 Z"),
            ),
            (157, 72),
        ),
        "cabin": Area(seats, (203, 78)),
        "engine": Area((engine,), (engine_x + (17 if across else 24), MIDDLE)),
        "cooling": Area((_box(50, 78, 9, 58, 2),), (54, 70)),
        "fuel": Area(
            ((_box(70, 112, 30, 36, 6),) if behind or middle else (_box(338, 60, 26, 40, 6),)),
            ((85, 138) if behind or middle else (351, 72)),
        ),
        "steering": Area(
            (
                _box(FRONT + 14, 58, 5, 98, 2),
                '<path d="M182 128 a11 11 0 1 0 .01 0 Z M182 132 a7 7 0 1 0 .01 0 Z" fill-rule="evenodd"/>',
            ),
            (FRONT + 16, 66),
        ),
        "suspension": Area(
            (*_both_sides(FRONT - 13, 53, 10, 10, 5), *_both_sides(REAR + 6, 53, 10, 10, 5)), (FRONT - 8, 152)
        ),
        "brakes": Area(
            (*_both_sides(FRONT - 11, 41, 22, 7, 2), *_both_sides(REAR - 11, 41, 22, 7, 2)), (REAR, 166)
        ),
        "wheels": Area(
            (*_both_sides(FRONT - 22, 18, 44, 18, 5), *_both_sides(REAR - 22, 18, 44, 18, 5)), (REAR, 24)
        ),
    }
    if across:
        gearbox = _box(engine_x + 2, 132, 30, 20)
        drawn["gearbox"] = Area((gearbox,), (engine_x + 17, 146))
    elif behind:
        drawn["gearbox"] = Area((_path("M328 90 L300 97 L300 117 L328 124 Z"),), (314, MIDDLE))
    else:
        drawn["gearbox"] = Area((_path("M118 91 L146 98 L146 116 L118 123 Z"),), (133, MIDDLE))
    driven = FRONT if front_drive else REAR
    if front_drive or middle or behind:
        drawn["driveline"] = Area(_both_sides(driven - 3, 50, 5, 32, 2), (driven, 62))
    else:
        drawn["driveline"] = Area((_box(148, 103.5, 158, 7, 3),), (230, MIDDLE))
    axle = (_box(REAR - 4, 50, 8, 114, 3), f'<circle cx="{REAR:g}" cy="{MIDDLE:g}" r="13"/>')
    drawn["axle"] = Area(axle if driven == REAR and not (behind or middle) else axle[:1], (REAR, MIDDLE + 26))
    if behind:
        drawn["exhaust"] = Area((_box(366, 84, 12, 46, 5),), (372, 138))
    else:
        start = 80 if not middle else 280
        drawn["exhaust"] = Area(
            (_path(f"M{start} 152 L300 152 L300 145 L330 145 L330 152 L390 152 L390 157 L{start} 157 Z"),),
            (max(start, 250) - 10, 154),
        )
    return drawn


def mix(paper: str, shade: str, share: float) -> str:
    """A colour between two, "#rrggbb": share 0 is paper, 1 is shade."""
    pairs = [(int(paper[i : i + 2], 16), int(shade[i : i + 2], 16)) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def drawing(frame: pd.DataFrame, *, traits: Collection[str], colours: Colours, title: str) -> str:
    """The drawing as SVG.

    frame : `frames.areas`: area, name, mean, rank. title : what it shows, in words, for those who do not see it.
    """
    top = float(frame["mean"].max()) or 1.0
    mean = dict(zip(frame["area"], frame["mean"], strict=True))
    rank = dict(zip(frame["area"], frame["rank"], strict=True))
    shapes = areas(traits)
    order = ["wheels", "body", *(a for a in shapes if a not in ("wheels", "body"))]
    body, numbers = [], []
    for area in order:
        share = max(mean.get(area, 0.0), 0.0) / top
        fill = mix(colours.paper, colours.shade, PALEST + (DARKEST - PALEST) * share)
        body.append(f'<g id="area-{area}" fill="{fill}">{"".join(shapes[area].shapes)}</g>')
        if rank.get(area, 99) <= NUMBERED and mean.get(area, 0.0) > 0:
            x, y = shapes[area].number
            numbers.append(
                f'<circle cx="{x:g}" cy="{y:g}" r="10" fill="{colours.paper}" stroke="{colours.ink}"/>'
                f'<text x="{x:g}" y="{y + 4.6:g}" text-anchor="middle" font-size="13" font-weight="600" '
                f'stroke="none" fill="{colours.ink}">{rank[area]}</text>'
            )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(title)}" font-family="sans-serif">'
        f"<title>{escape(title)}</title>"
        f'<g stroke="{colours.ink}" stroke-width="1.1" stroke-linejoin="round">{"".join(body)}</g>'
        f'<g stroke-width="1.1">{"".join(numbers)}</g></svg>'
    )


def legend(frame: pd.DataFrame, currency: str) -> list[str]:
    """The numbered areas in words, dearest first: "1. Structure and body, about £2,300"; then what the others come to,
    all together, and comfort and looks, which are in none of them.
    """
    numbered = (frame["rank"] <= NUMBERED) & (frame["mean"] > 0)
    chosen = frame[numbered]
    lines = [
        f"{rank}. {name}, about {words.about(mean, currency)}"
        for rank, name, mean in zip(chosen["rank"], chosen["name"], chosen["mean"], strict=True)
    ]
    named = (
        ("All others", frame["mean"][~numbered]),
        ("Together", frame["mean"]),
        ("Apart: comfort and looks", frame["comfort"]),
    )
    sums = [(name, float(means.sum())) for name, means in named]
    return lines + [f"{name}, about {words.about(total, currency)}" for name, total in sums if total > 0]


def alt_text(frame: pd.DataFrame, currency: str) -> str:
    """What the drawing shows."""
    first = frame.iloc[0]
    return (
        "Plan view of the car, nose to the left, in stronger colour where more is expected to be spent. Most of it: "
        f"{first['name']}, about {words.about(float(first['mean']), currency)}."
    )
