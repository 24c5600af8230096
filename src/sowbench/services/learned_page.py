"""The page of what a house has learned: factors, what each rests on and what it changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Final

from sowbench.forecasting.learning_records import (
    GRADE,
    PACE_EMERGENCE,
    PACE_READY,
    STAND,
    SURVIVE,
    Evidence,
    Factor,
    Level,
    task_of,
)
from sowbench.forecasting.learning_use import moved_share
from sowbench.science.stand import CULL_FRAC, EMERGENCE_FRAC, SURVIVE_FRAC
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import house_zone
from sowbench.services.learned import (
    DROP,
    FREEZE,
    fill_finished,
    finished_of_book,
    learned_now,
)

if TYPE_CHECKING:
    from sowbench.domain.ports.learned import FactorChoice
    from sowbench.forecasting.learning import Learned
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

__all__ = [
    "ChoiceLine",
    "EvidenceLine",
    "FactorLine",
    "LearnedView",
    "QuantityView",
    "learned_view",
]

# The picture of a factor reaches from half to double; what is beyond stands at its end.
_PICTURE_LN: Final = math.log(2.0)
_ODD_PULL: Final = 0.5
_SPAN80: Final = 1.2816
_REF_C: Final = 20.0

_TITLES: Final = {
    PACE_EMERGENCE: "Coming up",
    PACE_READY: "From half up to ready",
    STAND: "Final stand",
    SURVIVE: "Left after losses",
    GRADE: "Fit at grading",
}
_UNITS: Final = {
    PACE_EMERGENCE: "time to half up, against the handbook",
    PACE_READY: "days from half up to ready, against the handbook",
    STAND: "odds of a seed to come up, against its lot's test and the handbook",
    SURVIVE: "odds of a cell that is up to stay, against the handbook",
    GRADE: "odds of a cell to be fit, against the handbook",
}


@dataclass(frozen=True, slots=True)
class FactorLine:
    """One factor as the page shows it.

    Attributes
    ----------
    key : str
        By which it can be frozen.
    what : str
        What it is about, in words.
    level : str
        house, kin, crop, container or place.
    factor, low, high : float
        Multiplier, and its ten and ninety percent points.
    at, from_at, to_at, one_at : float
        Where they stand on the picture, 0 to 1; `one_at` is the handbook.
    n_evidence : int
        Sowings that bear on it.
    known_frac : float
        Share of the doubt before that is gone.
    changes : str
        What it changes, in words; blank where it changes nothing by itself.
    frozen : float or None
        What the grower has fixed.
    """

    key: str
    what: str
    level: str
    factor: float
    low: float
    high: float
    at: float
    from_at: float
    to_at: float
    one_at: float
    n_evidence: int
    known_frac: float
    changes: str
    frozen: float | None


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One observation as the page shows it."""

    key: str
    sowing: str
    what: str
    place: str
    ended: date
    factor: float
    low: float
    high: float
    pull_frac: float
    is_odd: bool
    dropped: bool


@dataclass(frozen=True, slots=True)
class QuantityView:
    """One thing that is learned.

    Attributes
    ----------
    quantity, title, unit : str
        Its name, its heading, and what a factor of it means.
    lines : tuple of FactorLine
        Crops first, then kin, house, containers and places.
    evidence : tuple of EvidenceLine
        The newest first.
    n_odd, n_dropped : int
        How many of them are odd, and dropped.
    """

    quantity: str
    title: str
    unit: str
    lines: tuple[FactorLine, ...]
    evidence: tuple[EvidenceLine, ...]
    n_odd: int
    n_dropped: int


@dataclass(frozen=True, slots=True)
class ChoiceLine:
    """One decision of the grower that holds."""

    name: str
    words: str
    at: datetime
    person: str
    reason: str


@dataclass(frozen=True, slots=True)
class LearnedView:
    """What the page of what was learned shows.

    Attributes
    ----------
    n_finished, n_telling : int
        Sowings that are over, and those that say something of the handbook.
    heading : str
        What stands out, as a sentence.
    quantities : tuple of QuantityView
        By what is learned.
    choices : tuple of ChoiceLine
        What is frozen or dropped.
    zone : str
        Time zone of the house.
    """

    n_finished: int
    n_telling: int
    heading: str
    quantities: tuple[QuantityView, ...]
    choices: tuple[ChoiceLine, ...]
    zone: str


def learned_view(desk: Desk) -> LearnedView:
    """Gather what the page of what was learned shows.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    view : LearnedView
        Factors with their evidence; the cache of finished sowings is brought up to date.
    """
    with desk.book.writing() as unit:
        if fill_finished(unit):
            unit.commit()
    with desk.book.reading() as unit:
        learned = learned_now(unit)
        _, catalog, _ = house_of(unit)
        finished = finished_of_book(unit)
        choices = unit.learned.choices()
        zone = house_zone(unit).key
    views = tuple(_quantity(learned, each, catalog) for each in _order(learned))
    return LearnedView(
        n_finished=len(finished),
        n_telling=len({each.sowing for each in learned.evidence}),
        heading=_heading(learned, catalog),
        quantities=views,
        choices=tuple(_choice(each, catalog) for each in choices),
        zone=zone,
    )


def _order(learned: Learned) -> list[str]:
    """Return the quantities of which there is evidence, dropped or not."""
    known = list(learned.quantities())
    for each in learned.evidence:
        if each.quantity not in known:
            known.append(each.quantity)
    return known


def _quantity(learned: Learned, quantity: str, catalog: Catalog) -> QuantityView:
    """Put one quantity together."""
    factors = [each for each in learned.factors if each.quantity == quantity]
    rank = {Level.CROP: 0, Level.KIN: 1, Level.HOUSE: 2, Level.CONTAINER: 3, Level.PLACE: 4}
    factors.sort(key=lambda each: (rank[each.level], -each.n_evidence, each.name))
    evidence = [each for each in learned.evidence if each.quantity == quantity]
    evidence.sort(key=lambda each: (each.date, each.sowing), reverse=True)
    lines = tuple(_evidence(each, catalog) for each in evidence)
    task = task_of(quantity)
    return QuantityView(
        quantity=quantity,
        title=f"Minutes to {task}" if task else _TITLES[quantity],
        unit="minutes worked, against those reckoned" if task else _UNITS[quantity],
        lines=tuple(_factor(each, learned, catalog) for each in factors),
        evidence=lines,
        n_odd=sum(each.is_odd for each in lines),
        n_dropped=sum(each.dropped for each in lines),
    )


def _factor(factor: Factor, learned: Learned, catalog: Catalog) -> FactorLine:
    """Put one factor together."""
    return FactorLine(
        key=factor.key,
        what=_what(factor.level, factor.name, catalog),
        level=factor.level.value,
        factor=factor.used,
        low=factor.low,
        high=factor.high,
        at=_on_picture(factor.used),
        from_at=_on_picture(factor.low),
        to_at=_on_picture(factor.high),
        one_at=_on_picture(1.0),
        n_evidence=factor.n_evidence,
        known_frac=1.0 - factor.shrink_frac,
        changes=change_words(factor, learned, catalog),
        frozen=factor.frozen,
    )


def _on_picture(multiplier: float) -> float:
    """Where a multiplier stands on the picture."""
    return min(max(0.5 + 0.5 * math.log(multiplier) / _PICTURE_LN, 0.0), 1.0)


def _what(level: Level, name: str, catalog: Catalog) -> str:
    """Say what a factor is about."""
    match level:
        case Level.HOUSE:
            return "every crop of the house"
        case Level.KIN:
            return f"kin of {name}"
        case Level.CROP:
            return catalog.crops[name].name if name in catalog.crops else name
        case Level.CONTAINER:
            return f"in {name}s"
        case _:
            return name


def _evidence(each: Evidence, catalog: Catalog) -> EvidenceLine:
    """Put one observation together."""
    error = _SPAN80 * math.sqrt(each.variance)
    return EvidenceLine(
        key=each.key,
        sowing=each.sowing,
        what=_what(Level.CROP, each.crop, catalog),
        place=each.place,
        ended=each.date,
        factor=math.exp(each.value),
        low=math.exp(each.value - error),
        high=math.exp(each.value + error),
        pull_frac=each.weight,
        is_odd=not each.dropped and each.weight < _ODD_PULL,
        dropped=each.dropped,
    )


def change_words(factor: Factor, learned: Learned, catalog: Catalog) -> str:
    """Say what a factor of a crop changes in a plan.

    Parameters
    ----------
    factor : Factor
        The factor.
    learned : Learned
        What was learned.
    catalog : Catalog
        The handbook with the house file's own values.

    Returns
    -------
    words : str
        Before and after; blank for what only moves crops together with others.
    """
    task = task_of(factor.quantity)
    if task:
        if factor.level is not Level.HOUSE:
            return ""
        return f"an hour reckoned is planned as {60.0 * factor.used:.0f} minutes"
    if factor.level is not Level.CROP or factor.name not in catalog.crops:
        return ""
    crop = catalog.crops[factor.name]
    if factor.quantity == PACE_EMERGENCE:
        of = learned.applied(PACE_EMERGENCE, crop.id, crop.kin, crop.emergence.sigma_pace)
        warm = min(_REF_C, crop.emergence.optimum_low_c)
        days = crop.emergence.thermal_time_cd / (warm - crop.emergence.base_c)
        doubt = _doubt_words(crop.emergence.sigma_pace, of.sigma)
        return (
            f"half up after {days * of.multiplier:.1f} d in place of {days:.1f} d at {warm:g} °C; "
            f"{doubt}"
        )
    if factor.quantity == PACE_READY:
        rules = [each for each in catalog.ready_rules.values() if each.crop == crop.id]
        if not rules:
            return ""
        rule = rules[0]
        of = learned.applied(PACE_READY, crop.id, crop.kin, rule.sigma_growth)
        days = rule.days_ref
        doubt = _doubt_words(rule.sigma_growth, of.sigma)
        return (
            f"{days * of.multiplier:.1f} d in place of {days:.1f} d in a "
            f"{rule.container_class.value} at {rule.temp_ref_c:g} °C; {doubt}"
        )
    before, noun = {
        STAND: (min(crop.germination_frac, 0.995) * EMERGENCE_FRAC, "seeds come up"),
        SURVIVE: (SURVIVE_FRAC, "cells stay"),
        GRADE: (1.0 - CULL_FRAC, "cells are fit"),
    }[factor.quantity]
    of = learned.applied(factor.quantity, crop.id, crop.kin)
    after = moved_share(before, of.multiplier)
    return f"{100 * after:.0f} of 100 {noun} in place of {100 * before:.0f}"


def _doubt_words(before: float, after: float) -> str:
    """Say how wide four sowings in five lie, before and after."""

    def percent(sigma: float) -> float:
        return 100.0 * (math.exp(_SPAN80 * sigma) - 1.0)

    return f"four in five within {percent(after):.0f} %, not {percent(before):.0f} %"


def _choice(choice: FactorChoice, catalog: Catalog) -> ChoiceLine:
    """Put one decision in words."""
    if choice.name.startswith(DROP):
        quantity, _, sowing = choice.name.removeprefix(DROP).partition("|")
        words = f"{sowing} is left out of {_noun(quantity)}"
    else:
        quantity, level, name = (*choice.name.removeprefix(FREEZE).split("|", 2), "", "")[:3]
        what = _what(Level(level), name, catalog) if level in set(Level) else name
        words = f"{_noun(quantity)}, {what}: frozen at {choice.value or 1.0:.2f}"
    return ChoiceLine(choice.name, words, choice.at, choice.person, choice.reason)


def _noun(quantity: str) -> str:
    """Name a quantity within a sentence."""
    task = task_of(quantity)
    return f"minutes to {task}" if task else quantity


def _heading(learned: Learned, catalog: Catalog) -> str:
    """Say what stands out: the crop whose pace is surest to differ from the handbook's."""
    best: tuple[float, str] | None = None
    for each in learned.factors:
        if each.level is not Level.CROP or each.quantity not in {PACE_EMERGENCE, PACE_READY}:
            continue
        sd = math.log(each.high / each.low) / (2.0 * _SPAN80)
        off = math.log(each.multiplier)
        sure = abs(off) / max(sd, 1e-9)
        if abs(off) < 0.03 or sure < _SPAN80 or (best is not None and sure <= best[0]):
            continue
        how = f"{100 * abs(math.expm1(off)):.0f}\u00a0% {'later' if off > 0 else 'sooner'}"
        verb = "comes up" if each.quantity == PACE_EMERGENCE else "is ready"
        name = _what(Level.CROP, each.name, catalog)
        best = (sure, f"{name} {verb} {how} here than the handbook says")
    if best is not None:
        return best[1]
    if learned.evidence:
        return "So far the house does as the handbook says"
    return ""
