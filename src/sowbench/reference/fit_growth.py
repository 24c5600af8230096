"""Work out ``growth.csv`` and ``ready_rules.csv`` from the published schedules beside them.

Run ``python -m sowbench.reference.fit_growth`` after a change of its inputs; a test compares the
stored files with what it makes. How a rule comes about:

1. The middle of a source's weeks from sowing, less median emergence at that row's germination
   temperature, are days of growth at that row's 24 h mean (13 h of day, 11 h of night).
2. Multiplied by `relative_rate` they are days at the rule's reference temperature.
3. The rule's days are their mean, weighted by grade: A 1, B 0.5, all else 0.25 (assumption). Rows
   without temperatures do not enter the mean, unless there are no others; they widen the spread,
   at half weight.
4. The spread is that of the logarithms between rows, with one degree of freedom lost to the mean
   and one lent by the mean spread of all crops, so that one source alone has the spread usual
   between sources; to it comes a quarter of the logarithm of each row's own range. Rows without
   temperatures can only widen it. It is kept between 0.08 and 0.35 (assumption). With a handbook
   left out, its weeks lie within two such spreads about as often as they should
   (tests/published/test_schedules.py).

Toning is not counted in the weeks: no source used here says that it counts it.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from sowbench.reference.growth_rows import (
    FOLDER,
    LEAST_GROWTH_D,
    EmergenceDays,
    Row,
    cardinal,
    choices,
    growth_days,
    pace,
    schedule_rows,
)
from sowbench.reference.tables import sources

WEIGHTS: Final = {"A": 1.0, "B": 0.5}
OTHER_WEIGHT: Final = 0.25
"""Weight of a row by its source's grade, and of all others: assumption."""

SIGMA_LOW, SIGMA_HIGH = 0.08, 0.35
"""Limits of the spread: assumption."""

DLI_REF_MOL_M2_D: Final = 10.0
"""Light for which the schedules are taken to hold: assumption."""

POT_DIRECT_FACTOR: Final = 1.15
"""Sown straight into a pot, the ball holds so much later than a plug pulls: assumption."""

# Days of toning by system: 3 to 6 d are enough (C106, seen); which system takes how many within
# that is an assumption. What goes into a house (channels, rafts, buckets; cubes and
# blocks) is not toned.
TONE_D: Final = {"any": 4, "field": 6, "bed": 4, "sale": 3}

GROWTH_COLUMNS: Final = ("crop", "base_c", "optimum_c", "ceiling_c", "source", "basis", "why")
RULE_COLUMNS: Final = (
    "crop",
    "container_class",
    "system",
    "days_ref",
    "temp_ref_c",
    "dli_ref_mol_m2_d",
    "sigma_growth",
    "window_d_ref",
    "leaves",
    "tone_d",
    "pot_on_d_ref",
    "pot_on_from_class",
    "space_d_ref",
    "space_plants_per_m2",
    "words",
    "source",
    "basis",
    "n_sources",
    "why",
)

# Final spacing of what is spaced out, plants a square meter: common practice.
_SPACING: Final = {
    ("block", "tomato"): 20.0,
    ("block", "cucumber"): 18.0,
    ("block", "pepper"): 25.0,
    ("block", "eggplant"): 20.0,
    ("block", "melon"): 18.0,
    ("block", "summer squash"): 16.0,
    ("pot", ""): 50.0,
}
# How long each class stands before it is overgrown, against the plug of the crop: common practice.
_WINDOW: Final = {"cube": 0.8, "pellet": 0.9, "block": 1.0, "pot": 1.5, "plug": 1.0}
_WORDS: Final = {
    "plug": "{leaves} true leaves, the plug comes out of its cell whole",
    "pellet": "{leaves} true leaves, roots show through the net",
    "pot": "fills its pot, roots reach the wall all round",
    "block": "roots come out of the block's base, leaves touch when spaced",
    "cube": "{leaves} true leaves, roots come out of the base",
}
# Sown in clumps or too fine to sow into single pellets: no pellet rule.
_NO_PELLET: Final = frozenset({"onion", "leek", "chives", "scallion", "asparagus", "sweet corn"})
# Sown straight into pots: those that take transplanting badly, and clumps.
_POT_DIRECT: Final = frozenset(
    {"cucumber", "melon", "watermelon", "summer squash", "winter squash", "pumpkin", "okra",
     "sunflower", "sweet corn", "bean", "pea", "basil", "cilantro", "dill", "parsley", "chives",
     "zinnia", "tomato", "pepper", "eggplant"}
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Prior:
    """Days of growth at the reference temperature and their spread, out of several rows."""

    days_ref: float
    sigma: float
    source_ids: tuple[str, ...]
    basis: str
    n_with_temp: int
    n_rows: int


def _between(pairs: list[tuple[float, float]], center_d: float) -> float:
    """Return the weighted mean square of log days around the center."""
    total = sum(weight for _, weight in pairs)
    return sum(weight * math.log(day / center_d) ** 2 for day, weight in pairs) / total


def _center(
    rows: list[Row], days: list[tuple[float, float, float]], weights: list[float]
) -> tuple[float, list[int]]:
    """Return the weighted mean of the rows that set the requirement, and which they are."""
    used = [i for i, row in enumerate(rows) if row.temp_24h_c is not None and not row.widen]
    used = used or [i for i, row in enumerate(rows) if not row.widen] or list(range(len(rows)))
    total = sum(weights[i] for i in used)
    return sum(days[i][1] * weights[i] for i in used) / total, used


class Calibration:
    """Everything that the two tables are made from."""

    def __init__(self) -> None:
        self.sources = sources()
        self.cardinal = cardinal()
        self.choices = {row["crop"]: row for row in choices()}
        self.rows = schedule_rows()
        self.emergence = EmergenceDays()
        spreads = []
        for crop in self.choices:
            rows = self.rows_of(crop, "plug")
            n_sources = len({row.source_id for row in rows})
            if n_sources >= 3 and not self.choices[crop]["kin_rows"]:
                spreads.append(self._spread_between(crop, rows) * n_sources / (n_sources - 1))
        self.typical_between = float(np.mean(spreads))

    def rows_of(self, crop: str, container_class: str) -> list[Row]:
        """Return a crop's rows in a container class.

        Parameters
        ----------
        crop : str
            Crop id.
        container_class : str
            Class of the container.

        Returns
        -------
        rows : list of Row
            In the order of the tables.
        """
        return [x for x in self.rows if x.crop == crop and x.container_class == container_class]

    def response(self, crop: str) -> tuple[dict[str, str], float]:
        """Return a crop's temperature response and its rules' reference temperature.

        Parameters
        ----------
        crop : str
            Crop id.

        Returns
        -------
        response : dict
            Row of the temperature responses.
        temp_ref_c : float
            Reference temperature [°C].
        """
        choice = self.choices[crop]
        return self.cardinal[choice["like"]], float(choice["temp_ref_c"])

    def _measured(
        self, crop: str, rows: list[Row]
    ) -> tuple[list[tuple[float, float, float]], list[float]]:
        response, temp_ref_c = self.response(crop)
        days = [growth_days(row, self.emergence, response, temp_ref_c) for row in rows]
        weights = [WEIGHTS.get(self.sources[row.source_id].grade, OTHER_WEIGHT) for row in rows]
        return days, weights

    def _spread_between(self, crop: str, rows: list[Row]) -> float:
        days, weights = self._measured(crop, rows)
        center, used = _center(rows, days, weights)
        setting = _between([(days[i][1], weights[i]) for i in used], center)
        halved = [w if i in used else w / 2 for i, w in enumerate(weights)]
        every = _between([(d[1], w) for d, w in zip(days, halved, strict=True)], center)
        return max(setting, every)

    def prior(self, crop: str, rows: list[Row]) -> Prior:
        """Put a crop's rows together.

        Parameters
        ----------
        crop : str
            Crop id.
        rows : list of Row
            Its rows in one container class, at least one.

        Returns
        -------
        prior : Prior
            Days of growth at the reference temperature and their spread.
        """
        days, weights = self._measured(crop, rows)
        center, used = _center(rows, days, weights)
        between = self._spread_between(crop, rows)
        n_setting = len({rows[i].source_id for i in used})
        between = (n_setting * between + self.typical_between) / n_setting
        within = float(np.mean([(math.log(high / low) / 4) ** 2 for low, _, high in days]))
        sigma = min(max(math.sqrt(between + within), SIGMA_LOW), SIGMA_HIGH)
        ids = list(dict.fromkeys([rows[i].source_id for i in used] + [r.source_id for r in rows]))
        bases = {rows[i].basis for i in used}
        order = ("seen", "from memory", "common practice", "assumption")
        basis = next(each for each in order if each in bases)
        n_with_temp = sum(rows[i].temp_24h_c is not None for i in used)
        return Prior(center, sigma, tuple(ids), basis, n_with_temp, len(rows))

    def pot_on_d(self, crop: str, rows: list[Row]) -> float | None:
        """Return the mean days of growth at which plants are potted on, if rows state it.

        Parameters
        ----------
        crop : str
            Crop id.
        rows : list of Row
            Its rows in one container class.

        Returns
        -------
        pot_on_d_ref : float or None
            Days at the reference temperature after emergence.
        """
        response, temp_ref_c = self.response(crop)
        stated = [x for x in rows if x.pot_on_weeks is not None]
        stated = [x for x in stated if x.temp_24h_c is not None and not x.widen] or stated
        days = []
        for row in stated:
            assert row.pot_on_weeks is not None  # noqa: S101 - filtered above
            rate = 1.0 if row.temp_24h_c is None else pace(row.temp_24h_c, response, temp_ref_c)
            grown = 7 * row.pot_on_weeks - self.emergence.days(row)
            days.append(max(LEAST_GROWTH_D, grown) * rate)
        return sum(days) / len(days) if days else None


def growth_table(calibration: Calibration) -> list[dict[str, str]]:
    """Make the rows of ``growth.csv``.

    Parameters
    ----------
    calibration : Calibration
        The inputs, read.

    Returns
    -------
    rows : list of dict
        One for each crop.
    """
    table = []
    for crop, choice in calibration.choices.items():
        response = calibration.cardinal[choice["like"]]
        why, basis, source = response["why"], response["basis"], response["source_id"]
        if choice["like"] not in {crop, "default cool", "default warm"}:
            why = f"as {choice['like']}, its kin" + (f": {why}" if why else "")
            basis = "assumption"
        table.append(
            {
                "crop": crop,
                **{each: response[each] for each in ("base_c", "optimum_c", "ceiling_c")},
                "source": source,
                "basis": basis,
                "why": why,
            }
        )
    return table


def _text(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}".rstrip("0").rstrip(".")


def _why(prior: Prior, choice: dict[str, str], container_class: str) -> str:
    """Say in words what a rule's days are made of."""
    parts = []
    if choice["kin_rows"] and container_class == "plug":
        parts.append(f"with rows of its kin, {choice['kin_rows']}")
    if prior.n_with_temp:
        parts.append(f"mean of {prior.n_with_temp} of {prior.n_rows} rows, each at its temperature")
    else:
        parts.append(f"{prior.n_rows} rows, none with temperatures: taken to hold at the reference")
    return "; ".join(parts)


def _words(container_class: str, leaves: float) -> str:
    leaf_words = "2-3" if leaves == 2.5 else _text(leaves)
    return _WORDS[container_class].format(leaves=leaf_words)


def _rule(
    calibration: Calibration,
    crop: str,
    container_class: str,
    system: str,
    prior: Prior,
    **more: str,
) -> dict[str, str]:
    """Make one row of the ready rules; `more` sets or replaces columns."""
    choice = calibration.choices[crop]
    leaves = float(choice["leaves"])
    window_d = float(choice["window_d"]) * _WINDOW[container_class]
    row = dict.fromkeys(RULE_COLUMNS, "")
    row |= {
        "crop": crop,
        "container_class": container_class,
        "system": system,
        "days_ref": _text(prior.days_ref),
        "temp_ref_c": choice["temp_ref_c"],
        "dli_ref_mol_m2_d": _text(DLI_REF_MOL_M2_D),
        "sigma_growth": _text(prior.sigma, 3),
        "window_d_ref": _text(max(2.0, window_d)),
        "leaves": choice["leaves"],
        "tone_d": str(0 if container_class in {"cube", "block"} else TONE_D.get(system, 0)),
        "words": _words(container_class, leaves),
        "source": ";".join(prior.source_ids),
        "basis": prior.basis,
        "n_sources": str(len(prior.source_ids)),
        "why": _why(prior, choice, container_class),
    }
    return row | more


def _spaced(days_ref: float, pot_on_d: float) -> str:
    """Return the day on which plants are spaced, two fifths between potting on and ready."""
    return _text(pot_on_d + 0.4 * (days_ref - pot_on_d))


def _rules_of(calibration: Calibration, crop: str) -> list[dict[str, str]]:
    """Make every rule of one crop."""
    rules = []
    plug = calibration.prior(crop, calibration.rows_of(crop, "plug"))
    rules += [_rule(calibration, crop, "plug", each, plug) for each in ("any", "field", "bed")]
    if crop not in _NO_PELLET:
        why = "as its plug: a pellet holds as much and is set out at as many leaves"
        rules += [
            _rule(calibration, crop, "pellet", each, plug, basis="assumption", why=why)
            for each in ("any", "field", "bed")
        ]
    cube_rows = calibration.rows_of(crop, "cube")
    if cube_rows:
        cube = calibration.prior(crop, cube_rows)
        vine = crop in {"cucumber", "melon"}
        systems = ("any", "bucket") if vine else ("any", "channel", "raft")
        seedling = {"leaves": "2.5", "words": _words("cube", 2.5)}
        rules += [_rule(calibration, crop, "cube", each, cube, **seedling) for each in systems]
        why = "as its cube: 2-3 true leaves and roots through the side"
        seedling = {"leaves": "2.5", "words": _words("pellet", 2.5), "why": why}
        rules += [
            _rule(calibration, crop, "pellet", each, cube, basis="assumption", **seedling)
            for each in systems[1:]
        ]
    block_rows = calibration.rows_of(crop, "block")
    if block_rows:
        block = calibration.prior(crop, block_rows)
        pot_on_d = calibration.pot_on_d(crop, block_rows)
        path = {
            "pot_on_d_ref": _text(pot_on_d or 0.0),
            "pot_on_from_class": "cube",
            "space_d_ref": _spaced(block.days_ref, pot_on_d or 0.0),
            "space_plants_per_m2": _text(_SPACING["block", crop]),
        }
        rules += [
            _rule(calibration, crop, "block", each, block, **path) for each in ("any", "bucket")
        ]
    if crop in _POT_DIRECT:
        why = f"sown straight into the pot: days of its plug x {POT_DIRECT_FACTOR:g}"
        days = _text(plug.days_ref * POT_DIRECT_FACTOR)
        rules += [
            _rule(calibration, crop, "pot", x, plug, days_ref=days, basis="assumption", why=why)
            for x in ("any", "field", "bed")
        ]
    pot_rows = calibration.rows_of(crop, "pot")
    if pot_rows:
        pot = calibration.prior(crop, pot_rows)
        pot_on_d = calibration.pot_on_d(crop, pot_rows)
        path = {
            "pot_on_d_ref": _text(pot_on_d or 0.0),
            "pot_on_from_class": "plug",
            "space_d_ref": _spaced(pot.days_ref, pot_on_d or 0.0),
            "space_plants_per_m2": _text(_SPACING["pot", ""]),
        }
        rules.append(_rule(calibration, crop, "pot", "sale", pot, **path))
    return rules


def rule_table(calibration: Calibration) -> list[dict[str, str]]:
    """Make the rows of ``ready_rules.csv``.

    Parameters
    ----------
    calibration : Calibration
        The inputs, read.

    Returns
    -------
    rows : list of dict
        By crop, container class and system.
    """
    return [row for crop in calibration.choices for row in _rules_of(calibration, crop)]


def as_csv(columns: Iterable[str], rows: Iterable[dict[str, str]]) -> str:
    """Write rows as CSV text.

    Parameters
    ----------
    columns : iterable of str
        Headers in order.
    rows : iterable of dict
        Values by header.

    Returns
    -------
    text : str
        The file's text.
    """
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(columns), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return buffer.getvalue()


def build() -> dict[str, str]:
    """Make both tables.

    Returns
    -------
    tables : dict
        Text by file name.
    """
    calibration = Calibration()
    return {
        "growth.csv": as_csv(GROWTH_COLUMNS, growth_table(calibration)),
        "ready_rules.csv": as_csv(RULE_COLUMNS, rule_table(calibration)),
    }


def main() -> None:
    """Write both tables beside this module."""
    for name, text in build().items():
        (FOLDER / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
