"""What is learned as values that take the place of the handbook's, to be kept with a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import msgspec

from sowbench.domain.records import Crop, Fact, House, ReadyRule
from sowbench.forecasting.learning_records import (
    PACE_EMERGENCE,
    PACE_READY,
    minutes_of,
)
from sowbench.forecasting.learning_use import RATES_OF_TASK
from sowbench.science.labor import LaborRates

if TYPE_CHECKING:
    from sowbench.forecasting.learning import Learned
    from sowbench.reference.catalog import Catalog

__all__ = [
    "NOTHING_LEARNED",
    "LearnedValue",
    "LearnedValues",
    "laid_over",
    "source_words",
    "values_of",
]

NOTHING_LEARNED: Final = "{}"
"""What is kept with a plan that was made before anything was learned."""

# A change smaller than this is not worth a word: of the value, and of the doubt (our limits).
_LEAST_LN: Final = 0.005
_LEAST_DOUBT: Final = 0.02


@dataclass(frozen=True, slots=True)
class LearnedValue:
    """A multiplier with the doubt that goes with it, and what it rests on.

    Attributes
    ----------
    multiplier : float
        Takes the place of 1.
    sigma : float
        Doubt about one more sowing, of the logarithm.
    n_crop, n_house : int
        Sowings of the crop, and of the house, that it rests on.
    """

    multiplier: float
    sigma: float
    n_crop: int
    n_house: int


@dataclass(frozen=True, slots=True)
class LearnedValues:
    """What was learned, by what it changes.

    Attributes
    ----------
    pace : dict of str to LearnedValue
        Thermal time by crop.
    ready : dict of str to LearnedValue
        Days at reference by ``crop|container class|system``.
    minutes : dict of str to float
        Multiplier of the minutes of each task.
    """

    pace: dict[str, LearnedValue] = field(default_factory=dict)
    ready: dict[str, LearnedValue] = field(default_factory=dict)
    minutes: dict[str, float] = field(default_factory=dict)

    def __bool__(self) -> bool:
        """Whether anything was learned."""
        return bool(self.pace or self.ready or self.minutes)

    def as_json(self) -> str:
        """Return the values as JSON.

        Returns
        -------
        body : str
            To be read by `from_json`.
        """
        return msgspec.json.encode(self).decode()

    @classmethod
    def from_json(cls, body: str) -> LearnedValues:
        """Read values.

        Parameters
        ----------
        body : str
            JSON of `as_json`.

        Returns
        -------
        values : LearnedValues
            The values.
        """
        return msgspec.json.decode(body, type=cls)


def values_of(learned: Learned, catalog: Catalog, season: int | None = None) -> LearnedValues:
    """Say what was learned as values by crop, ready rule and task.

    Parameters
    ----------
    learned : Learned
        What was learned.
    catalog : Catalog
        The handbook with the house file's own values.
    season : int or None, default None
        Year that is planned; None is one that nothing is known of yet.

    Returns
    -------
    values : LearnedValues
        Those that differ from the handbook's enough to matter.
    """
    known = set(learned.quantities())
    pace: dict[str, LearnedValue] = {}
    ready: dict[str, LearnedValue] = {}
    if _speaks(learned, known, PACE_EMERGENCE):
        for crop in catalog.crops.values():
            sigma = crop.emergence.sigma_pace
            of = learned.applied(PACE_EMERGENCE, crop.id, crop.kin, sigma, season=season)
            value = LearnedValue(of.multiplier, of.sigma, of.n_evidence, of.n_house)
            if _matters(value, sigma):
                pace[crop.id] = value
    if _speaks(learned, known, PACE_READY):
        for key, rule in catalog.ready_rules.items():
            kin = catalog.crops[rule.crop].kin if rule.crop in catalog.crops else ""
            container = rule.container_class.value
            of = learned.applied(
                PACE_READY, rule.crop, kin, rule.sigma_growth, container=container, season=season
            )
            value = LearnedValue(of.multiplier, of.sigma, of.n_evidence, of.n_house)
            if _matters(value, rule.sigma_growth):
                ready["|".join((key[0], key[1].value, key[2]))] = value
    minutes = {
        task: learned.applied(minutes_of(task), "", "").multiplier
        for task in RATES_OF_TASK
        if _speaks(learned, known, minutes_of(task))
    }
    return LearnedValues(pace, ready, minutes)


def _speaks(learned: Learned, known: set[str], quantity: str) -> bool:
    """Whether evidence or a frozen factor says anything of a quantity."""
    frozen = any(each.startswith(f"{quantity}|") for each in learned.choices.frozen)
    return quantity in known or frozen


def _matters(value: LearnedValue, sigma: float) -> bool:
    """Whether a value differs from the handbook's enough to matter."""
    return (
        abs(math.log(value.multiplier)) >= _LEAST_LN
        or abs(value.sigma / sigma - 1.0) >= _LEAST_DOUBT
    )


def source_words(value: LearnedValue) -> str:
    """Say what a learned value rests on.

    Parameters
    ----------
    value : LearnedValue
        The value.

    Returns
    -------
    words : str
        Its source.
    """
    if value.n_crop:
        of_crop = f"{value.n_crop} sowing" + ("" if value.n_crop == 1 else "s")
        return f"this house's records, {of_crop}"
    if value.n_house:
        others = f"{value.n_house} sowing" + ("" if value.n_house == 1 else "s")
        return f"this house's records, {others} of other crops"
    return "frozen by the grower"


def laid_over(house: House, catalog: Catalog, values: LearnedValues) -> tuple[House, Catalog]:
    """Lay learned values over a house and its catalog.

    Parameters
    ----------
    house : House
        The house.
    catalog : Catalog
        The handbook with the house file's own values.
    values : LearnedValues
        What was learned.

    Returns
    -------
    house : House
        With the rates of its own work.
    catalog : Catalog
        With the paces of its own crops; each value keeps the handbook's beside it.
    """
    if not values:
        return house, catalog
    crops = dict(catalog.crops)
    for name, value in values.pace.items():
        if name in crops:
            crops[name] = _crop(crops[name], value)
    rules = dict(catalog.ready_rules)
    for key, rule in catalog.ready_rules.items():
        found = values.ready.get("|".join((key[0], key[1].value, key[2])))
        if found is not None:
            rules[key] = _rule(rule, found)
    return _with_rates(house, catalog, values.minutes), replace(
        catalog, crops=crops, ready_rules=rules
    )


def _crop(crop: Crop, value: LearnedValue) -> Crop:
    """Give a crop its learned pace."""
    before = crop.emergence
    goal = before.thermal_time_cd * value.multiplier
    facts = dict(crop.facts)
    for key, number in (
        ("emergence.thermal_time_cd", goal),
        ("emergence.sigma_pace", value.sigma),
    ):
        known = facts.get(key)
        others = () if known is None else (replace(known, others=()), *known.others)
        unit = "" if known is None else known.unit
        why = f"the handbook's value times {value.multiplier:.3f}"
        if key.endswith("sigma_pace"):
            why = "narrowed by what was counted"
        facts[key] = Fact(key, number, unit, None, None, source_words(value), "house", why, others)
    emergence = replace(before, thermal_time_cd=goal, sigma_pace=value.sigma)
    return replace(crop, emergence=emergence, facts=facts)


def _rule(rule: ReadyRule, value: LearnedValue) -> ReadyRule:
    """Give a ready rule its learned pace."""
    pot, space = rule.pot_on_d_ref, rule.space_d_ref
    return replace(
        rule,
        days_ref=rule.days_ref * value.multiplier,
        sigma_growth=value.sigma,
        pot_on_d_ref=None if pot is None else pot * value.multiplier,
        space_d_ref=None if space is None else space * value.multiplier,
        source=f"{source_words(value)}; {rule.source}",
        basis="house",
    )


def _with_rates(house: House, catalog: Catalog, minutes: Mapping[str, float]) -> House:
    """Give a house its learned rates of work."""
    if not minutes:
        return house
    rates = LaborRates.from_table(
        {name: each.value for name, each in catalog.labor.items()}, house.minutes
    )
    changed = dict(house.minutes)
    for task, multiplier in minutes.items():
        for name, direction in RATES_OF_TASK.get(task, {}).items():
            changed[name] = float(getattr(rates, name)) * multiplier**direction
    return replace(house, minutes=changed)
