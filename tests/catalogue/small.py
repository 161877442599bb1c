"""A whole catalogue of one part, one check and one step: sound, and small enough to break on purpose."""

from __future__ import annotations

import shutil
from pathlib import Path

from estimator.catalogue.load import data_folder

BUILD = """
[[group]]
id = "layout"
name = "Engine and driven wheels"
choose = "one"
[[group]]
id = "extras"
name = "Extras"
choose = "any"
[[group]]
id = "wheels"
name = "Wheels"
choose = "one"
otherwise = "steel-wheels"
[[trait]]
id = "front-drive"
name = "front wheels driven"
group = "layout"
share = [[1955, 0.25], [1999, 0.75]]
excludes = ["rear-drive"]
[[trait]]
id = "rear-drive"
name = "rear wheels driven"
group = "layout"
share = [[1955, 0.75], [1999, 0.25]]
[[trait]]
id = "cooler"
name = "oil cooler"
group = "extras"
share = [[1955, 0.1], [1999, 0.2]]
excludes = ["rear-drive"]
[[trait]]
id = "steel-wheels"
name = "steel wheels"
group = "wheels"
share = [[1955, 0.9], [1999, 0.5]]
[[trait]]
id = "wire-wheels"
name = "wire wheels"
group = "wheels"
share = [[1955, 0.1], [1999, 0.5]]
"""
PART = """
system = "cooling"
[[component]]
id = "water-pump"
name = "water pump"
when = "front-drive"
need = "to-drive"
failure = "leaking"
life_km = { b10 = 60000, b50 = 120000 }
life_years = { b10 = 12, b50 = 25 }
reason = "Seal and bearing wear with use."
deferral_years = 0.5
noticed = "driver-in-weeks"
precaution_rate = 0.01
skill = 1
hours = [1, 1.5, 2]
access = ["fan-off"]
tools = ["puller"]
cautions = ["hot"]
source = "elicited"
variant = [{ when = "cooler", price = 1.1 }]
[[component.remedy]]
kind = "new"
price = [40, 60, 110]
availability = { common = 0.9, scarce = 0.5, rare = 0.1 }
[[component.remedy]]
kind = "rebuilt"
specialist = [90, 130, 220]
last_resort = true
"""
STEP = """
[[step]]
id = "fan-off"
name = "fan and belt off"
hours = [0.3, 0.4, 0.7]
after = ["drained"]
source = "elicited"
[[step]]
id = "drained"
name = "coolant drained and filled"
hours = [0.3, 0.4, 0.6]
source = "elicited"
"""
CHECK = """
station = "bonnet-cold"
[[check]]
id = "weep-hole"
name = "Weep hole of the pump"
kind = "look"
do = "Look below the pump's shaft."
present = "stained"
absent = "dry"
minutes = 1
who = { newcomer = 0.4, handy = 0.8 }
leak = 0.05
harmless = "an old stain"
links = [{ component = "water-pump", spent = 0.7, worn = 0.3 }]
cautions = ["hot"]
source = "elicited"
[[check]]
id = "spokes"
name = "Spokes tapped"
when = "wire-wheels"
kind = "listen"
do = "Tap each spoke."
present = "dull"
absent = "ringing"
minutes = 3
who = { newcomer = 0.4, handy = 0.8 }
leak = 0.05
harmless = "a stone in the rim"
stop = "Loose spokes: do not drive it."
source = "elicited"
"""
REST = """
[[kit]]
id = "cooling-overhaul"
name = "cooling overhaul"
[kit.depths]
full = ["water-pump"]
[[tool]]
id = "puller"
name = "puller"
buy = [10, 20, 30]
[[caution]]
id = "hot"
text = "Hot coolant scalds."
source = "elicited"
[[source]]
id = "elicited"
title = "Judgement"
kind = "elicited"
"""
FILES = {"traits": BUILD, "components": PART, "access": STEP, "checks": CHECK, "rest": REST}


def write(folder: Path, *, replace: tuple[str, str] = ("", ""), more: str = "") -> Path:
    """The small catalogue in `folder`, one piece of its text replaced and `more` tables in a further file."""
    old, new = replace
    assert not old or sum(text.count(old) for text in FILES.values()) >= 1, f"no {old!r} to replace"
    for name, text in FILES.items():
        (folder / f"{name}.toml").write_text(text.replace(old, new) if old else text, encoding="utf-8")
    if more:
        (folder / "more.toml").write_text(more, encoding="utf-8")
    for name in ("prices.toml", "evidence.toml", "exposure.toml"):
        text = (data_folder() / name).read_text(encoding="utf-8")
        for key in ("nhts-2017", "ep-odometer-2018"):
            text = text.replace(f'source = "{key}"', 'source = "elicited"')
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def copy_of_ours(folder: Path) -> Path:
    """The shipped catalogue, copied so that it can be changed."""
    return Path(shutil.copytree(data_folder(), folder / "data"))
