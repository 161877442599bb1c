"""Twenty dots, each an equally likely outcome, as a picture of our own (Kay et al., CHI 2016): SVG, black on white."""

from __future__ import annotations

from html import escape

from estimator.assess import Assessment
from estimator.views import frames, sentences, words

WIDTH, NARROW, RADIUS, EDGE, BELOW = 640.0, 430.0, 9.0, 16.0, 66.0
STEP = 2 * RADIUS + 3
LETTER, GAP = 8.2, 12.0  # width of a letter, and least space between two labels


def dots_svg(
    a: Assessment, *, room: float | None = None, font: str = "Libertinus Serif, serif", width: float = WIDTH
) -> str:
    """The dots over an axis of cost. room : the sum up to which the budget holds, a line; dots beyond it are hollow.

    width : of the drawing, in its own units (a letter is about 8 of them wide): WIDTH for paper, NARROW for a phone.
    """
    frame = frames.dots(a, room=room)
    low, high = float(frame["left"].min()), float(frame["right"].max())
    tallest = int(frame["height"].max())
    base = tallest * STEP + 26.0

    def across(amount: float) -> float:
        return EDGE + (width - 2 * EDGE) * (amount - low) / max(high - low, 1e-9)

    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {base + BELOW:g}" role="img" '
        f'aria-label="{escape(sentences.dots_alt(a, room))}" font-family="{escape(font)}" font-size="15" fill="#111">',
        f'<line x1="{EDGE:g}" y1="{base:g}" x2="{width - EDGE:g}" y2="{base:g}" stroke="#111" stroke-width="1.2"/>',
    ]
    edges = sorted({*frame["left"], *frame["right"]})
    free = -1.0  # where the label before ends
    for edge in edges:
        x = across(edge)
        rows.append(f'<line x1="{x:.1f}" y1="{base:g}" x2="{x:.1f}" y2="{base + 5:g}" stroke="#111"/>')
        text = words.money(edge, a.currency)
        half = LETTER * len(text) / 2
        at = min(max(x, half), width - half)
        if at - half >= free:
            rows.append(f'<text x="{at:.1f}" y="{base + 21:g}" text-anchor="middle">{escape(text)}</text>')
            free = at + half + GAP
    for dot in frame.to_dict("records"):
        x, y = across(dot["middle"]), base - 3 - (dot["height"] - 0.5) * STEP
        hollow = dot["side"] == frames.BEYOND
        fill = 'fill="#fff" stroke="#111" stroke-width="2"' if hollow else 'fill="#111"'
        rows.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{RADIUS - hollow:g}" {fill}/>')
    if room is not None and low < room < high:
        rows += _budget(across(room), base, width)
    said = ["Cost in the first year; each dot is one outcome in twenty"]
    if (frame["side"] == frames.BEYOND).any():
        said.append("hollow: the budget breaks, unlisted work on top")
    rows += [
        f'<text x="{width / 2:g}" y="{base + 41 + 19 * line:g}" text-anchor="middle">{text}</text>'
        for line, text in enumerate(said)
    ]
    return "\n".join([*rows, "</svg>"])


def _budget(x: float, base: float, width: float) -> list[str]:
    anchor, shift = ("end", -6) if x > width / 2 else ("start", 6)
    return [
        f'<line x1="{x:.1f}" y1="4" x2="{x:.1f}" y2="{base:g}" stroke="#111" stroke-width="1.4" '
        'stroke-dasharray="5 4"/>',
        f'<text x="{x + shift:.1f}" y="16" text-anchor="{anchor}">the budget holds to here</text>',
    ]
