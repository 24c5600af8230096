"""Build the emergence table: one row a crop, from printed tables and written choices.

``python -m sowbench.reference.fit_emergence`` rewrites ``emergence.csv`` from the tables in
``data/germination`` and from ``emergence_choices.csv``, which says for every crop which source is
used and why. Nothing here is read while a plan is made; the plan reads the finished table.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sowbench.reference.emergence_fits import (
    FractionPrior,
    RatePrior,
    fit_fraction,
    fit_rate,
    limits_curve,
)
from sowbench.science.emergence import FractionCurve, ThermalResponse, days_at_constant
from sowbench.science.errors import UnknownNameError

__all__ = ["build", "days_table", "fit_fraction", "fit_rate", "percent_table", "rate_prior"]

Row = dict[str, str]

COLUMNS: Final = (
    "crop",
    "base_c",
    "optimum_low_c",
    "optimum_high_c",
    "ceiling_c",
    "thermal_time_cd",
    "sigma_seed",
    "sigma_pace",
    "germination_share",
    "top_frac",
    "cold_c",
    "cold_sd_c",
    "hot_c",
    "hot_sd_c",
    "source",
    "fraction_source",
    "basis",
    "why",
    "other_base_c",
    "other_thermal_time_cd",
    "other_source",
    "note",
)
# Spread between the seeds of a lot where the choices say nothing (assumption). Maximum likelihood
# on counts gives 0.175 for one published test, and a median of 0.19 over seven of rice and
# mungbean (tests/published).
SIGMA_SEED: Final = 0.18
# Doubt about a crop's own pace: never under this (assumption) ...
SIGMA_PACE_MIN: Final = 0.12
# ... more where nothing else can be compared with a printed or a remembered value ...
SIGMA_PACE_ALONE: Final = 0.15
SIGMA_PACE_ALONE_MEMORY: Final = 0.20
# ... and where days come from a guide's range or from kin (assumption).
SIGMA_PACE_RANGE_MIN: Final = 0.15
SIGMA_PACE_ONE_DAY: Final = 0.25
SIGMA_PACE_KIN: Final = 0.15
# A guide's range is read as the middle 80 % of what growers see (assumption).
_RANGE_DEVIATE: Final = 1.2816
# Root to emergence where nothing is known (assumption; pepper 0.53, onion 0.68, lemon balm 0.33).
GERMINATION_SHARE: Final = 0.55
# Sources are compared where trays stand [°C].
COMPARED_AT_C: Final = (20.0, 25.0)

_OWN_BASE_SD_C: Final = 1.5
_KIN_BASE_SD_C: Final = 2.5
_COOL_BASE_C: Final = 4.0
_WARM_BASE_C: Final = 10.0
# Heat sums whose base temperature is an independent prior for a crop of the days table.
_OWN_SUMS: Final = {
    "bean (snap)": "bean (french)",
    "cabbage": "cabbage (white)",
    "pepper": "pepper (sweet)",
    **{
        name: name
        for name in (
            "beet",
            "carrot",
            "cauliflower",
            "celery",
            "cucumber",
            "eggplant",
            "lettuce",
            "melon",
            "onion",
            "parsley",
            "pea",
            "radish",
            "spinach",
            "tomato",
            "turnip",
        )
    },
}
_KIN_SUMS: Final = {
    "bean (lima)": "bean (french)",
    "broccoli": "cauliflower",
    "parsnip": "carrot",
    "pumpkin": "melon",
    "squash": "melon",
    "swiss chard": "beet",
    "watermelon": "melon",
}
_WARM_CROPS: Final = frozenset({"okra", "sweet corn"})
# The table of limits has no line for watermelon.
_LIMITS_KIN: Final = {"watermelon": "melon"}


class Pace(NamedTuple):
    """A crop's response with how sure it is.

    Parameters
    ----------
    response : ThermalResponse
        Cardinal temperatures and thermal time.
    sigma : float
        Doubt about the thermal time, standard deviation of its logarithm.
    """

    response: ThermalResponse
    sigma: float


def _rows(*path: str) -> list[Row]:
    """Read a table of the package."""
    text = resources.files("sowbench.reference").joinpath(*path).read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def _lookup(table: Mapping[str, Row], name: str, kind: str) -> Row:
    """Return one row or say which names there are."""
    if name not in table:
        raise UnknownNameError.among(name, kind, table)
    return table[name]


@cache
def days_table() -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Temperatures [°C] and days to emergence [d] by crop; only where seed came up."""
    cells: dict[str, list[tuple[float, float]]] = {}
    for row in _rows("data", "germination", "emergence_days.csv"):
        days = row["days_to_emergence"]
        if days not in {"", "NG"}:
            cells.setdefault(row["crop"], []).append((float(row["temperature_c"]), float(days)))
    return {crop: (np.array(c).T[0], np.array(c).T[1]) for crop, c in cells.items()}


@cache
def percent_table() -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Temperatures [°C] and fraction of normal seedlings by crop, without doubtful zeros."""
    cells: dict[str, list[tuple[float, float]]] = {}
    for row in _rows("data", "germination", "normal_seedlings_percent.csv"):
        if row["percent_normal"] and "doubtful" not in row["note"]:
            cell = (float(row["temperature_c"]), float(row["percent_normal"]) / 100.0)
            cells.setdefault(row["crop"], []).append(cell)
    return {crop: (np.array(c).T[0], np.array(c).T[1]) for crop, c in cells.items()}


@cache
def heat_sums() -> dict[str, tuple[float, float]]:
    """Base [°C] and thermal time [°C d] of the remembered table (BW74), by its own names."""
    return {
        row["crop"]: (float(row["base_temperature_c"]), float(row["thermal_time_c_day"]))
        for row in _rows("data", "germination", "thermal_time.csv")
        if row["source_id"] == "BW74"
    }


@cache
def _limits() -> dict[str, tuple[float, float, float]]:
    """Printed minimum, optimum, maximum [°C]; the second reproduction where the first is blank."""
    found = {}
    for row in _rows("data", "germination", "soil_temperature_limits.csv"):
        three = []
        for name in ("minimum", "optimum", "maximum"):
            if row[f"{name}_c"]:
                three.append(float(row[f"{name}_c"]))
            else:
                three.append(round((float(row[f"{name}_f_second"]) - 32.0) / 1.8, 1))
        found[row["crop"]] = (three[0], three[1], three[2])
    return found


def rate_prior(table_crop: str) -> RatePrior:
    """What is known of a crop of the days table before its days are looked at."""
    sums = heat_sums()
    if table_crop in _OWN_SUMS:
        base, sd = sums[_OWN_SUMS[table_crop]][0], _OWN_BASE_SD_C
    elif table_crop in _KIN_SUMS:
        base, sd = sums[_KIN_SUMS[table_crop]][0], _KIN_BASE_SD_C
    else:
        base = _WARM_BASE_C if table_crop in _WARM_CROPS else _COOL_BASE_C
        sd = _KIN_BASE_SD_C
    _, optimum, maximum = _limits()[_LIMITS_KIN.get(table_crop, table_crop)]
    return RatePrior(base, sd, optimum, maximum)


def fraction_prior(table_crop: str) -> FractionPrior:
    """Printed limits of a crop of the percent table."""
    minimum, _, maximum = _limits()[_LIMITS_KIN.get(table_crop, table_crop)]
    return FractionPrior(minimum, maximum)


@cache
def days_fit(table_crop: str) -> ThermalResponse:
    """Fit of a crop of the days table."""
    if table_crop not in days_table():
        raise UnknownNameError.among(table_crop, "crop of the days table", days_table())
    temps, days = days_table()[table_crop]
    return fit_rate(temps, days, rate_prior(table_crop))


@cache
def fraction_fit(table_crop: str) -> FractionCurve:
    """Fit of a crop of the percent table."""
    if table_crop not in percent_table():
        raise UnknownNameError.among(table_crop, "crop of the percent table", percent_table())
    temps, fractions = percent_table()[table_crop]
    return fit_fraction(temps, fractions, fraction_prior(table_crop))


def _cardinals(choice: Row) -> ThermalResponse:
    """Cardinal temperatures of a choice: its own numbers, the rest from a fit of the days table."""
    if choice["cardinal_key"]:
        fitted = days_fit(choice["cardinal_key"])
        base = float(choice["base_c"]) if choice["base_c"] else fitted.base_c
        return fitted._replace(base_c=base)
    return ThermalResponse(
        float(choice["base_c"] or "nan"),
        float(choice["optimum_low_c"]),
        float(choice["optimum_high_c"]),
        float(choice["ceiling_c"]),
        1.0,
    )


def _from_days_seen(choice: Row, share: float) -> Pace:
    """Thermal time from a range of days at a range of temperatures, both taken in the middle."""
    temp = 0.5 * (float(choice["temp_low_c"]) + float(choice["temp_high_c"]))
    low, high = float(choice["days_low_d"]), float(choice["days_high_d"])
    response = _cardinals(choice)._replace(thermal_time_cd=1.0)
    days_per_unit = days_at_constant(temp, response)
    total = float(np.sqrt(low * high) / days_per_unit) / share
    sigma = float(np.log(high / low)) / (2.0 * _RANGE_DEVIATE)
    floor = SIGMA_PACE_ONE_DAY if high == low else SIGMA_PACE_RANGE_MIN
    return Pace(response._replace(thermal_time_cd=total), max(sigma, floor))


class _Builder:
    """Works out every crop of the choices once, kin before those who borrow."""

    def __init__(self, choices: Iterable[Row]) -> None:
        self.choices = {row["crop"]: row for row in choices}
        self.paces: dict[str, Pace] = {}
        self.curves: dict[str, FractionCurve] = {}

    def pace(self, crop: str) -> Pace:
        """Response and doubt of one crop."""
        if crop not in self.paces:
            self.paces[crop] = self._pace(_lookup(self.choices, crop, "crop"))
        return self.paces[crop]

    def _pace(self, choice: Row) -> Pace:
        key = choice["pace_key"]
        match choice["pace_from"]:
            case "days":
                pace = Pace(days_fit(key), SIGMA_PACE_MIN)
            case "sum":
                if key not in heat_sums():
                    raise UnknownNameError.among(key, "crop of the heat sums", heat_sums())
                base, total = heat_sums()[key]
                response = _cardinals(choice)._replace(base_c=base, thermal_time_cd=total)
                pace = Pace(response, SIGMA_PACE_MIN)
            case "kin":
                kin = self.pace(key)
                factor = float(choice["pace_factor"] or 1.0)
                total = kin.response.thermal_time_cd * factor
                pace = Pace(
                    kin.response._replace(thermal_time_cd=total),
                    float(np.hypot(kin.sigma, SIGMA_PACE_KIN)),
                )
            case "range":
                pace = _from_days_seen(choice, 1.0)
            case "germination":
                seen = _from_days_seen(
                    choice, float(choice["germination_share"] or GERMINATION_SHARE)
                )
                pace = Pace(seen.response, SIGMA_PACE_ONE_DAY)
            case other:
                known = ("days", "sum", "kin", "range", "germination")
                raise UnknownNameError.among(other, "way to a pace", known)
        second = self.other(choice)
        if second is None:
            alone = {"days": SIGMA_PACE_ALONE, "sum": SIGMA_PACE_ALONE_MEMORY}
            return pace._replace(sigma=max(pace.sigma, alone.get(choice["pace_from"], 0.0)))
        return pace._replace(sigma=max(pace.sigma, half_log_ratio(pace.response, second[0])))

    def other(self, choice: Row) -> tuple[ThermalResponse, str] | None:
        """Response of the second source and its name, with the first's warm end."""
        if not choice["other_from"]:
            return None
        kind, _, rest = choice["other_from"].partition(":")
        if kind == "days":
            source = "HM54-V-extra" if rest == "swiss chard" else "HM54-K"
            return days_fit(rest), f"{source} ({rest})"
        if kind == "kin":
            return self.pace(rest).response, f"as {rest}"
        if kind == "sum":
            base, total = heat_sums()[rest]
            source = f"BW74 ({rest}, memory)"
        else:
            base_text, total_text, source = rest.split(":")
            base, total = float(base_text), float(total_text)
        # A bare heat sum says nothing of the warm end; compared only below 25 °C.
        return ThermalResponse(base, 30.0, 32.0, 40.0, total), source

    def curve(self, crop: str) -> FractionCurve:
        """Final fraction of one crop."""
        if crop not in self.curves:
            choice = _lookup(self.choices, crop, "crop")
            match choice["fraction_from"]:
                case "table":
                    found = fraction_fit(choice["fraction_key"])
                case "kin":
                    found = self.curve(choice["fraction_key"])
                case "limits":
                    found = limits_curve(float(choice["minimum_c"]), float(choice["maximum_c"]))
                case other:
                    known = ("table", "kin", "limits")
                    raise UnknownNameError.among(other, "way to a fraction", known)
            self.curves[crop] = found
        return self.curves[crop]

    def row(self, crop: str) -> Row:
        """One finished row."""
        choice = self.choices[crop]
        pace, curve, second = self.pace(crop), self.curve(crop), self.other(choice)
        numbers = {
            **{name: f"{value:.1f}" for name, value in pace.response._asdict().items()},
            "sigma_seed": f"{float(choice['sigma_seed'] or SIGMA_SEED):.2f}",
            "sigma_pace": f"{pace.sigma:.2f}",
            "germination_share": f"{float(choice['germination_share'] or GERMINATION_SHARE):.2f}",
            **{name: f"{value:.2f}" for name, value in curve._asdict().items()},
        }
        words = {name: choice[name] for name in ("fraction_source", "basis", "why")}
        other = {
            "other_base_c": "" if second is None else f"{second[0].base_c:.1f}",
            "other_thermal_time_cd": "" if second is None else f"{second[0].thermal_time_cd:.1f}",
            "other_source": "" if second is None else second[1],
        }
        row = {
            "crop": crop,
            **numbers,
            "source": choice["pace_source"],
            **words,
            **other,
            "note": choice["note"],
        }
        return {column: row[column] for column in COLUMNS}


def half_log_ratio(first: ThermalResponse, second: ThermalResponse) -> float:
    """Half of the mean log ratio of the days of two sources at 20 and 25 °C."""
    temps = np.array(COMPARED_AT_C)
    one, two = days_at_constant(temps, first), days_at_constant(temps, second)
    both = np.isfinite(one) & np.isfinite(two)
    return float(0.5 * np.mean(np.abs(np.log(one[both] / two[both]))))


def build() -> list[Row]:
    """Every row of the emergence table, in the order of the choices."""
    choices = _rows("emergence_choices.csv")
    builder = _Builder(choices)
    return [builder.row(choice["crop"]) for choice in choices]


def main() -> None:
    """Write the emergence table beside this module."""
    rows = build()
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    with resources.as_file(resources.files("sowbench.reference")) as folder:
        path = folder / "emergence.csv"
        path.write_text(text.getvalue(), encoding="utf-8")
    sys.stdout.write(f"{len(rows)} crops written to {path.name}\n")


if __name__ == "__main__":
    main()
