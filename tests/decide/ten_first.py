"""Ten suggestions expected first for the high-mileage estate, written down before `next` was run on it.

From the case file alone, by somebody's own judgement (common practice, no source): 287,450 km in 40 years, next to
no papers, a hum on drive that goes on the overrun, slack and one clonk in the drive, vibration at 95 to 110 km/h that
stays in neutral, oil at the axle, a patch on the left rear leg only, bubbles on the right sill, the lift refused.
The engine has run today, so that nothing that wants it cold is among them. The list stays as it was written: what
came is counted and said, nothing is tuned to it.

Counted are the first ten suggestions: the checks proposed, open stops aside, by what each adds, and after them the
others by what they would add. Beside that count stands how many of the ten are worth most by themselves.
"""

TEN = {
    "final-drive-oil": "hum on drive, wet pinion, oil never looked at: glitter or a low level decides the dearest part",
    "whole-underside-walked-lamp-left-then": "forty wet years and nobody has been under it with a lamp",
    "suspension-pick-up-points-rear": "the test refused the rear legs, only the left was patched",
    "tap-scrape-within-30-cm-every-mounting": "bubbles on the sill show: how far it goes is the dear part",
    "pinion-flange-rocked-turned": "tells worn pinion bearings from a noise of tyres, shaft or gearbox",
    "compression-dry-then-wet": "287,000 km and not one bill for the engine: the dearest part nobody has judged",
    "oil-pressure-hot-at-idle": "a minute, free, and it speaks for the bottom end of a warm engine",
    "flexible-coupling-rear": "said to be new without a bill, yet it clonks and shakes",
    "centre-bearing-mount": "vibration that stays in neutral is the shaft's line: the mount is the usual cause",
    "each-gear-drive-overrun-hand-off-lever": "the hum may be the gearbox, not the axle: gear by gear tells them apart",
}
