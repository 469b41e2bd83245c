"""The shape of a unit's file, before anything is compared with anything else. Private to this package."""

from __future__ import annotations

from pydantic import Field

from voicelog.sheet.tables import Quantity, Table
from voicelog.sheet.unit_model import (
    AirSystem,
    Assist,
    AxlePosition,
    ChamberKind,
    Chemistry,
    Fitted,
    OwnBasis,
    StrokeClass,
    TyrePosition,
    WheelSide,
)


class ChamberTable(Table):
    """``chamber = { type, stroke, kind }``."""

    kind: ChamberKind = "clamp"
    type: str
    stroke: StrokeClass = "standard"


class TyreTable(Table):
    """``tyres = [{ size, pressure, position }]``."""

    size: str
    pressure: Quantity
    position: TyrePosition | None = None


class WheelEndTable(Table):
    """``[[unit.axle.wheel_end]]``."""

    side: WheelSide
    chamber: ChamberTable | None = None
    weight: Quantity | None = None
    tyres: list[TyreTable] = []


class AxleTable(Table):
    """``[[unit.axle]]``."""

    position: AxlePosition
    wheel_end: list[WheelEndTable] = []


class TyreLoadTable(Table):
    """``[[unit.tyre_load]]``."""

    size: str
    fitted: Fitted
    loads: list[list[Quantity]]
    source: str


class BatteryTable(Table):
    """``[[unit.battery]]``."""

    name: str
    chemistry: Chemistry


class BeltTable(Table):
    """``[[unit.belt]]``."""

    name: str
    span: Quantity | None = None


class SteeringTable(Table):
    """``[unit.steering]``."""

    wheel_diameter: Quantity
    assist: Assist


class OwnLimitTable(Table):
    """``[[unit.limit]]``."""

    sheet: str
    point: str
    reading: str
    min: Quantity | None = None
    max: Quantity | None = None
    source: str
    basis: OwnBasis


class UnitTable(Table):
    """``[unit]``."""

    id: str
    name: str
    station: str
    description: str = ""
    identification: str = ""
    sheets: list[str]
    air_system: AirSystem | None = None
    steering: SteeringTable | None = None
    axle: list[AxleTable] = []
    battery: list[BatteryTable] = []
    belt: list[BeltTable] = []
    tyre_load: list[TyreLoadTable] = []
    limit: list[OwnLimitTable] = Field(default=[])


class UnitFile(Table):
    """A whole unit file."""

    unit: UnitTable


UNIT_TABLES: dict[tuple[str, ...], type[Table]] = {
    ("unit",): UnitTable,
    ("unit", "steering"): SteeringTable,
    ("unit", "axle"): AxleTable,
    ("unit", "axle", "wheel_end"): WheelEndTable,
    ("unit", "axle", "wheel_end", "chamber"): ChamberTable,
    ("unit", "axle", "wheel_end", "tyres"): TyreTable,
    ("unit", "battery"): BatteryTable,
    ("unit", "belt"): BeltTable,
    ("unit", "tyre_load"): TyreLoadTable,
    ("unit", "limit"): OwnLimitTable,
}
