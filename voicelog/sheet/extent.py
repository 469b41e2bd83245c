"""How much of a sheet a walk takes in: each extent has its own points and those of the lesser ones."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import get_args

from voicelog.errors import SheetError
from voicelog.sheet.model import Extent, Point, Sheet

EXTENTS: tuple[Extent, ...] = get_args(Extent)
"""From the least to the whole sheet."""


def of_extent(sheet: Sheet, extent: Extent, also: Collection[str] = ()) -> Sheet:
    """Return the sheet of a walk of this extent: its points, and the stops that still have one.

    ``also`` are ids of points that are taken in whatever their extent is: what the shop has worked on
    must be looked at in the very next walk.
    Raises SheetError where the sheet has no point for such a walk.
    """
    whole = sheet.whole or sheet
    taken = EXTENTS[: EXTENTS.index(extent) + 1]

    def takes(point: Point) -> bool:
        return point.extent in taken or point.id in also

    stops = (replace(stop, points=tuple(p for p in stop.points if takes(p))) for stop in whole.stops)
    kept = tuple(stop for stop in stops if stop.points)
    if not kept:
        least = min((p.extent for p in sheet.points.values()), key=EXTENTS.index)
        raise SheetError(
            f"the sheet {sheet.id} has no {extent} point",
            where=sheet.path,
            remedy=f"make a larger walk with it: --extent {least}",
        )
    return replace(sheet, stops=kept, extent=extent, whole=whole)
