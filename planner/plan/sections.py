"""The sections of a plan file as frozen and validated models, but for those with a file of their own beside this."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, get_args

from pydantic import (
    AfterValidator,
    AliasChoices,
    BeforeValidator,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from planner.crops import known_crop
from planner.plan.alternatives import Alternatives
from planner.plan.lots import Lots
from planner.plan.phases import Phases
from planner.plan.portfolio import Portfolio
from planner.plan.ranking import Ranking
from planner.plan.scenario import Scenario, unique_names
from planner.plan.section import NotNegative, Positive, Section, Share
from planner.plan.testing import Testing
from planner.plan.tiles import TileUrl
from planner.plan.uncertainty import Uncertainty

Factors = Annotated[tuple[NotNegative, ...], Field(min_length=12, max_length=12)]
Shares = Annotated[tuple[Share, ...], Field(min_length=12, max_length=12)]
Family = Literal["helical_rotor", "centrifugal", "surface"]
PriceGroup = Literal["equipment", "works", "upkeep"]
TestKind = Literal["constant_rate_24h", "constant_rate_6h", "step", "short", "airlift", "bailer", "unknown"]


def _some_demand(season: tuple[float, ...]) -> tuple[float, ...]:
    if not any(season):
        raise ValueError("a month with a factor above 0")
    return season


def _date_text(date: object) -> object:
    """TOML has dates of its own; both spellings count."""
    return date.isoformat() if type(date) is datetime.date else date


def _real_date(date: str) -> str:
    try:
        datetime.date.fromisoformat(date)
    except ValueError:
        raise ValueError("a day of the calendar, YYYY-MM-DD") from None
    return date


Season = Annotated[Factors, AfterValidator(_some_demand)]
Date = Annotated[str, BeforeValidator(_date_text), Field(pattern=r"^\d{4}-\d{2}-\d{2}$"), AfterValidator(_real_date)]
Latitude = Annotated[float, Field(ge=-90, le=90)]
Longitude = Annotated[float, Field(ge=-180, le=180)]

ONES: tuple[float, ...] = (1.0,) * 12
TESTED_SHARE: dict[TestKind, float] = {
    "constant_rate_24h": 0.70,
    "constant_rate_6h": 0.60,
    "step": 0.60,
    "short": 0.50,
    "airlift": 0.40,
    "bailer": 0.40,
    "unknown": 0.40,
}


class Programme(Section):
    name: str = Field("Solar pumping plan", description="shown on every output", min_length=1, max_length=200)
    language: Literal["en", "fr", "pt", "es", "sw"] = Field("en", description="language of the files for people")
    currency: str = Field("USD", description="currency of every amount", pattern=r"^[A-Z]{3}$")
    price_year: int = Field(2026, description="year of all prices", ge=1990, le=2100)
    discount_rate: Share = Field(0.08, description="real discount rate, 1/year")
    horizon_years: int = Field(20, description="years over which costs and water are counted", ge=1, le=60)
    budget: Positive | None = Field(None, description="to be spent; empty: sites are ranked, not funded")


class Inventory(Section):
    file: str = Field(description="the table of boreholes")
    crs: str = Field("EPSG:4326", description="coordinate reference system of the position columns")
    columns: dict[str, str] = Field(default_factory=dict, description="planner name = name in the file")
    units: dict[str, str] = Field(default_factory=dict, description="planner name = unit in the file")
    sheet: str | None = Field(None, description="sheet of a workbook or layer of a file of layers; else the only one")
    header_row: int | None = Field(None, description="line of the header, 1 = first; found if absent", ge=1)
    header_rows: int = Field(
        1, description="lines that the header takes: 2 where a second line has the units", ge=1, le=3
    )
    encoding: str | None = Field(None, description="text encoding; found if absent")
    delimiter: str | None = Field(None, description="field separator; found if absent", min_length=1, max_length=1)
    decimal: Literal[".", ","] | None = Field(None, description="decimal mark of numbers; found if absent")
    date_order: Literal["year_first", "day_first", "month_first"] | None = Field(
        None, description="order of dates in figures; found if absent, and dates that could be two are told"
    )
    unconfirmed: tuple[str, ...] = Field(
        (), description="guesses of `planner draft` that a person has not confirmed yet"
    )


class Area(Section):
    boundary: str = Field(description="polygons of the programme area")
    name_field: str = Field("name", description="field with the polygon's name")


class RasterSource(Section):
    """One raster. `scale` and `offset` override those stored in the file; `nodata` likewise."""

    file: str | None = Field(None, description="GeoTIFF, ESRI ASCII grid or SRTM .hgt")
    files: Annotated[tuple[str, ...], Field(min_length=12, max_length=12)] | None = Field(
        None, description="twelve such files instead, January first, on one grid"
    )
    unit: str = Field(description="unit of the values after scale and offset")
    bands: tuple[int, ...] | None = Field(None, description="band numbers, 1-based, in month order")
    scale: float | None = Field(None, description="value = stored × scale + offset")
    offset: float | None = Field(None, description="value = stored × scale + offset")
    nodata: float | None = Field(None, description="stored value that means no data")

    @model_validator(mode="after")
    def _one_of_two(self) -> RasterSource:
        if (self.file is None) == (self.files is None):
            raise ValueError("either file = one name or files = [12 names]")
        return self

    @property
    def names(self) -> tuple[str, ...]:
        """The file, or the twelve."""
        return self.files or (self.file or "",)


class Rasters(Section):
    solar: RasterSource | None = Field(None, description="global horizontal irradiation, monthly or annual")
    diffuse: RasterSource | None = Field(None, description="diffuse horizontal irradiation, monthly")
    clearness_spread: RasterSource | None = Field(
        None, description="standard deviation of the daily clearness index within each month"
    )
    air_temperature: RasterSource | None = Field(None, description="mean air temperature, monthly or annual")
    temperature_range: RasterSource | None = Field(
        None, description="mean daily range of air temperature, monthly or annual"
    )
    elevation: RasterSource | None = Field(None, description="ground elevation")
    water_level: RasterSource | None = Field(None, description="depth to water, a regional prior")
    well_yield: RasterSource | None = Field(None, description="yield of wells, a regional prior")
    population: RasterSource | None = Field(None, description="people a cell")
    wind_speed: RasterSource | None = Field(None, description="wind speed at module height, monthly or annual")
    rain: RasterSource | None = Field(None, description="rain, monthly: for irrigation")
    road_distance: RasterSource | None = Field(None, description="distance by road from the supply base to the cell")

    @model_validator(mode="after")
    def _sun_beside(self) -> Rasters:
        alone = [name for name in ("diffuse", "clearness_spread", "temperature_range") if getattr(self, name)]
        if alone and self.solar is None:
            raise ValueError(f"a solar raster beside {', '.join(alone)}")
        return self


class Weather(Section):
    file: str = Field(description="hourly year of one place: EPW, TMY2 or TMY3")


class Demand(Section):
    norm_l_person_day: Positive = Field(
        20.0,
        description="litres a person a day",
        validation_alias=AliasChoices("norm_l_person_day", "litres_per_person_day"),
    )
    livestock_l_tlu_day: Positive = Field(
        30.0,
        description="litres a tropical livestock unit a day",
        validation_alias=AliasChoices("livestock_l_tlu_day", "litres_per_tlu_day"),
    )
    irrigation_m3_ha_day: NotNegative | None = Field(
        None, description="gross irrigation, m3 a hectare a day all year; empty: by month, from climate and crop"
    )
    crop: Annotated[str, AfterValidator(known_crop)] = Field(
        "small vegetables", description="irrigated crop where the inventory names none that is known"
    )
    crops_a_year: int = Field(2, description="crops behind one another in a year, as far as they fit", ge=1, le=4)
    planting_month: int | None = Field(
        None, description="month of the first planting; empty: the one that needs most irrigation", ge=1, le=12
    )
    irrigation_efficiency: float = Field(
        0.60, description="share of the irrigation that roots take: surface 0.60, sprinkler 0.75, drip 0.90", gt=0, le=1
    )
    leaching: float = Field(0.0, description="share of the irrigation that must drain to carry salt away", ge=0, lt=0.9)
    dew_point_below_minimum_k: NotNegative | None = Field(
        None, description="lowest temperature of a day above dew point, K; empty: 2 in dry climates, else 0", le=20
    )
    wind_height_m: float | None = Field(
        None, description="height of the wind given, m; empty: 10 from a weather file, else 2", ge=0.5, le=200
    )
    growth: float = Field(0.02, description="growth of demand, 1/year; 0 where demand_m3_day is given", ge=-0.1, le=0.2)
    design_year: int = Field(10, description="year of the horizon that the site is sized for", ge=0, le=60)
    losses: float = Field(0.10, description="share lost between tank inlet and tap", ge=0, lt=0.9)
    season: Season = Field(ONES, description="monthly factor on demand, January first; not on irrigation by month")
    service_distance_m: Positive = Field(1000.0, description="farthest that people come to a site, m")
    storage_share: Share = Field(0.8, description="share of people's or a stated day's demand that the tank holds")
    storage_share_livestock: Share = Field(0.3, description="the same of livestock's, drinking from troughs")
    storage_share_irrigation: Share = Field(0.25, description="the same of irrigation's, by turn through the day")


class Well(Section):
    tested_share: dict[TestKind, Share] = Field(
        default_factory=lambda: dict(TESTED_SHARE),
        description="safe share of the tested yield, by kind of test",
    )
    old_test_years: Positive = Field(10.0, description="age beyond which a test is discounted, years")
    old_test_factor: Share = Field(0.9, description="factor on the tested share of an old test")
    season_swing_m: NotNegative = Field(3.0, description="fall of the rest level from wettest to driest month, m")
    highest_level_month: int | None = Field(
        None, description="month of the highest rest level; empty: the month after the cloudiest", ge=1, le=12
    )
    decline_m_year: NotNegative = Field(0.0, description="long-term fall of the rest level, m a year")
    level_decline_m: NotNegative = Field(0.0, description="fall of every rest level at once, m: a drought", le=500)
    yield_decline_share: float = Field(
        0.0, description="share that every yield has lost since it was tested: a drought", ge=0, lt=1
    )
    storativity: Positive = Field(0.001, description="storage coefficient, confined aquifer", le=0.5)
    specific_yield: Positive = Field(0.1, description="storage coefficient, unconfined aquifer", le=0.5)
    interference_radius_m: NotNegative = Field(300.0, description="neighbours within this distance add drawdown, m")
    well_loss_share: float = Field(0.2, description="share of the tested drawdown that is well loss", ge=0, lt=1)
    submergence_m: NotNegative = Field(2.0, description="water kept above the intake, m")
    available_share: Share = Field(2 / 3, description="share of the available drawdown that may be used")
    pumping_hours_day: Positive = Field(8.0, description="length of a pumping day in the drawdown law, h", le=24)
    safe_hours_day: Positive = Field(10.0, description="hours at the safe rate that give the daily limit, h", le=24)
    days_since_recovery: int = Field(180, description="pumped days since the water table last recovered", ge=1)
    test_hours_unknown: Positive = Field(6.0, description="duration assumed for a test without one, h")
    depth_unknown_m: Positive = Field(20.0, description="water column assumed where no depth is known, m")
    specific_capacity_m3_h_m: Positive = Field(
        0.33, description="specific capacity assumed where no test of the inventory gives one, m3/h/m"
    )
    casing_unknown_mm: Positive = Field(100.0, description="inside diameter assumed where the inventory has none, mm")
    water_temperature_c: float = Field(
        25.0, description="water temperature assumed where not measured, °C", ge=0, le=60
    )

    @field_validator("tested_share")
    @classmethod
    def _complete(cls, value: dict[TestKind, float]) -> dict[TestKind, float]:
        """Kinds that the plan leaves out keep their default."""
        return TESTED_SHARE | value


class Pipes(Section):
    stand_m: NotNegative = Field(4.0, description="tank stand above ground, m")
    tank_height_m: NotNegative = Field(2.0, description="height of the tank on its stand, m")
    residual_pressure_m: NotNegative = Field(0.0, description="pressure kept at the tank inlet, m")
    pipe_length_m: NotNegative = Field(30.0, description="delivery pipe where the inventory gives none, m")
    velocity_max_riser_m_s: Positive = Field(2.0, description="highest velocity in the riser, m/s")
    velocity_max_delivery_m_s: Positive = Field(1.5, description="highest velocity in the delivery pipe, m/s")
    minor_loss_k: NotNegative = Field(8.0, description="sum of fitting losses, velocity heads of the riser")
    cable_to_drive_m: NotNegative = Field(10.0, description="motor cable from wellhead to drive, m")
    cable_loss_max: Share = Field(0.03, description="highest loss and voltage drop in the motor cable")


class Array(Section):
    tilt_deg: float | None = Field(None, description="tilt; empty: chosen for each site", ge=0, le=60)
    azimuth_deg: float | None = Field(None, description="0 north, 90 east; empty: towards the equator", ge=0, lt=360)
    mounting: Literal["fixed", "single_axis"] = Field(
        "fixed", description="fixed, or single_axis: turning with the sun about a level north–south axis"
    )
    soiling: Shares = Field((0.03,) * 12, description="share of light lost to dust, by month")
    shade: Shares = Field((0.0,) * 12, description="share of light lost to shade, by month")
    other_losses: Share = Field(0.05, description="mismatch, connections, tolerance and first light, share")
    wiring_loss: Share = Field(0.02, description="loss of array cables at rated power, share")
    ageing_year: Share = Field(0.005, description="loss of array power a year, share")
    low_year_factor: Positive | None = Field(
        None,
        description="sun of a year that nine in ten exceed ÷ that of the mean year; empty: by climate zone. Sets are "
        "sized for it; volumes and costs are of the mean year",
        le=1,
    )
    ratio_max: Positive | None = Field(None, description="highest array ÷ drive input; empty: the drive's own")
    albedo: Share = Field(0.2, description="reflectance of the ground")
    air_temperature_c: float = Field(
        25.0,
        description="air temperature where neither raster nor weather file gives it, °C; the built-in climate's where "
        "the plan does not write this",
        ge=-30,
        le=50,
    )
    temperature_range_k: NotNegative = Field(
        10.0, description="daily range of the air temperature where no raster gives it, K", le=40
    )
    wind_m_s: NotNegative = Field(3.0, description="wind at the modules where no raster gives it, m/s")
    record_low_margin_k: NotNegative = Field(
        15.0, description="record low below the mean of the coldest month, K (string voltage)"
    )
    hot_cell_c: float = Field(70.0, description="cell temperature of the lowest string voltage, °C", ge=25, le=120)

    @field_validator("mounting")
    @classmethod
    def _turns_freely(cls, value: str, info: ValidationInfo) -> str:
        """A tracking array has no tilt and no azimuth of its own."""
        fixed = [name for name in ("tilt_deg", "azimuth_deg") if info.data.get(name) is not None]
        if value == "single_axis" and fixed:
            raise ValueError(f"'fixed' with {' and '.join(fixed)}, or single_axis without")
        return value


class Equipment(Section):
    pumps: str | None = Field(None, description="CSV of pumps; empty: the generic catalogue")
    pump_points: str | None = Field(None, description="CSV of points measured on pumps of that table; empty: none")
    prices: str | None = Field(None, description="CSV of prices; empty: the illustrative price book")
    families: tuple[Family, ...] = Field(("helical_rotor", "centrifugal", "surface"), min_length=1)
    tank_max_m3: Positive = Field(50.0, description="largest storage at a site, m3")
    reliability_year: Share = Field(0.95, description="least share of the year's demand delivered")
    reliability_worst_month: Share = Field(0.90, description="least share of any month's demand delivered")
    minimum_coverage: Share = Field(0.5, description="share of demand below which a site is held")
    water_temp_max_c: float = Field(40.0, description="warmest water a submersible motor may sit in, °C")
    elevation_unknown_m: float = Field(1000.0, description="elevation where no raster gives it, m", ge=-450, le=6000)
    hdpe_riser_max_m: Positive = Field(120.0, description="deepest intake on a plastic riser, m")
    pump_availability: Share = Field(0.99, description="share of sunlit time that the pump is able to run")

    @model_validator(mode="after")
    def _points_of_pumps(self) -> Equipment:
        if self.pump_points and not self.pumps:
            raise ValueError("a table of pumps beside pump_points")
        return self


class Costs(Section):
    exchange_rate: dict[str, Positive] = Field(
        default_factory=dict, description="plan currency for one unit of another"
    )
    inflation: float = Field(
        0.0, description="price rise from the price book's year to the plan's, 1/year", ge=-0.2, le=1
    )
    price_factor: dict[PriceGroup, Positive] = Field(
        default_factory=dict,
        description="factor on prices of equipment (goods), works (building, tests, transport), upkeep",
    )
    tax: Share = Field(0.0, description="tax on capital cost, share")
    contingency: Share = Field(
        0.10, description="contingency on the scheme, share; supervision is a row of the price book. A judgement"
    )
    contingency_equipment: Share = Field(0.10, description="contingency on the equipment boundary, share. A judgement")
    supply_base: tuple[Latitude, Longitude] | None = Field(None, description="latitude, longitude of the supply base")
    distance_unknown_km: NotNegative = Field(100.0, description="straight distance assumed without a supply base, km")
    detour: float = Field(1.35, description="road ÷ straight distance, where no raster gives the road", ge=1)
    residual: bool = Field(True, description="count the unused life of equipment at the end")


OutputFile = Literal[
    "map",
    "charts",
    "csv",
    "parquet",
    "gpkg",
    "bill",
    "workbook",
    "field",
    "sheets",
    "brief",
]


class Output(Section):
    files: tuple[OutputFile, ...] = Field(get_args(OutputFile), description="results to write", min_length=1)
    date: Date | None = Field(None, description="date on outputs, YYYY-MM-DD")
    coarsen_m: float = Field(0.0, description="grid on map, in plan.gpkg and brief.pdf, m; 0: exact", ge=0, le=1e5)
    show_columns: tuple[str, ...] = Field((), description="columns of the inventory, by header, carried along")
    workbook_row_limit: int = Field(10_000, description="most rows of a list of the workbook", ge=1, le=1_000_000)
    sheets_max: int = Field(500, description="site sheets at most: the first by rank", ge=1)
    tiles: TileUrl | None = Field(None, description="https address of online map tiles with {z}, {x}, {y}; empty: none")
    tiles_attribution: str | None = Field(None, description="whose tiles they are, as the map says it", max_length=200)

    @model_validator(mode="after")
    def _tiles_named(self) -> Output:
        if (self.tiles is None) != (self.tiles_attribution is None):
            raise ValueError("tiles and tiles_attribution together")
        return self


class Plan(Section):
    programme: Programme = Field(default_factory=Programme)
    inventory: Inventory
    area: Area | None = None
    rasters: Rasters = Field(default_factory=Rasters)
    weather: Weather | None = None
    demand: Demand = Field(default_factory=Demand)
    well: Well = Field(default_factory=Well)
    pipes: Pipes = Field(default_factory=Pipes)
    array: Array = Field(default_factory=Array)
    equipment: Equipment = Field(default_factory=Equipment)
    costs: Costs = Field(default_factory=Costs)
    alternatives: Alternatives = Field(default_factory=Alternatives)
    ranking: Ranking = Field(default_factory=Ranking)
    portfolio: Portfolio = Field(default_factory=Portfolio)
    lots: Lots = Field(default_factory=Lots)
    phase: Phases = ()
    uncertainty: Uncertainty = Field(default_factory=Uncertainty)
    testing: Testing = Field(default_factory=Testing)
    output: Output = Field(default_factory=Output)
    scenario: Annotated[tuple[Scenario, ...] | None, AfterValidator(unique_names)] = None
