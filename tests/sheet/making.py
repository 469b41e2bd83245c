"""A small sheet, lexicon and unit that are whole, for tests to change one thing of."""

from __future__ import annotations

from pathlib import Path

LEXICON = """\
[[aspect]]
id = "general"
name = "general state"
[[aspect]]
id = "leak"
name = "leaks"
[[class]]
id = "repair"
name = "repair"
meaning = "Have it put right."
source = "invented"
rank = 1
[[condition]]
id = "dry"
aspect = "leak"
polarity = "sound"
say = ["dry"]
[[condition]]
id = "leaking"
aspect = "leak"
polarity = "defect"
class = "repair"
say = ["leaking"]
[[measure]]
unit = "inch"
symbol = "in"
say = ["inch", "inches"]
[[side]]
id = "left"
say = ["left"]
[[side]]
id = "right"
say = ["right"]
"""

SHEET = """\
[sheet]
id = "bay"
title = "Bay"
edition = "1"
lexicon = "lexicon.toml"

[[stop]]
id = "front"
name = "left front"
say = ["left front corner"]
side = "left"
cautions = ["Chock the wheels."]

[[stop.point]]
id = "cylinder"
name = "lift cylinder"
say = ["cab lift cylinder"]
aspects = ["leak"]

[[stop.point]]
id = "belt"
name = "fan belt"
aspects = ["leak"]

[[stop.point.reading]]
id = "deflection"
name = "deflection"
unit = "inch"
range = [0, "1 1/2"]
resolution = "1/8"
limit = { max = "3/4", source = "invented", basis = "common practice" }

[[stop]]
id = "rear"
name = "left rear"
cautions = ["Chock the wheels."]

[[stop.point]]
id = "latch"
name = "cab latch"
aspects = ["leak"]
"""

UNIT = """\
[unit]
id = "engine_9"
name = "Engine 9"
station = "Station 1"
sheets = ["bay"]
"""


def written(folder: Path, sheet: str = SHEET, lexicon: str = LEXICON) -> Path:
    """Write a sheet and its lexicon and return the sheet's path."""
    (folder / "lexicon.toml").write_text(lexicon, encoding="utf-8")
    path = folder / "bay.toml"
    path.write_text(sheet, encoding="utf-8")
    return path
