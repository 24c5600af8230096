"""What a house has learned from its finished sowings: gathered, kept, chosen from, laid over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final

import msgspec

from sowbench.domain.journal import Entry
from sowbench.domain.life import sowing_life
from sowbench.domain.ports.learned import Ended, KeptFinished
from sowbench.forecasting.learning import Learned, learn
from sowbench.forecasting.learning_records import Choices, FinishedSowing, Worked
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.book_inputs import house_of
from sowbench.services.kept_results import Kept
from sowbench.services.learned_climate import Climates
from sowbench.services.learned_evidence import Ending, finished_sowings
from sowbench.services.learned_values import LearnedValues, laid_over, values_of
from sowbench.services.learned_worked import MINUTES_WORKED

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import House
    from sowbench.reference.catalog import Catalog
    from sowbench.science.weather_year import WeatherYear
    from sowbench.services.desk import Desk

__all__ = [
    "DROP",
    "FREEZE",
    "choices_of",
    "drop_evidence",
    "fill_finished",
    "finished_of_book",
    "freeze_factor",
    "learned_house_of",
    "learned_key",
    "learned_now",
    "plan_house_of",
    "undo_choice",
    "values_now",
]

FREEZE: Final = "freeze|"
DROP: Final = "drop|"

N_SOWINGS_MOST: Final = 2_000
"""Finished sowings that are learned from, the last to end (our limit)."""

_VERSION: Final = "2"
_PART: Final = 250
_DECODER: Final = msgspec.json.Decoder(FinishedSowing | None)
_LEARNED: Final[Kept[tuple[object, ...], Learned]] = Kept(4)
_VALUES: Final[Kept[tuple[object, ...], LearnedValues]] = Kept(4)
# With the house and catalog beneath, so that their identity stays theirs.
_HOUSES: Final[Kept[tuple[object, ...], tuple[House, Catalog, House, Catalog]]] = Kept(8)


def choices_of(unit: Unit) -> Choices:
    """Return what the grower decided about what is learned.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    choices : Choices
        What is dropped and frozen.
    """
    dropped, frozen = set(), {}
    for each in unit.learned.choices():
        if each.name.startswith(DROP):
            dropped.add(each.name.removeprefix(DROP))
        elif each.value is not None:
            frozen[each.name.removeprefix(FREEZE)] = each.value
    return Choices(frozenset(dropped), frozen)


def finished_of_book(unit: Unit) -> tuple[FinishedSowing, ...]:
    """Return the finished sowings of a book with what each says.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    finished : tuple of FinishedSowing
        Out of the book's cache, and made where that has none.
    """
    return _finished(unit)[0]


def fill_finished(unit: Unit) -> int:
    """Bring the book's cache of finished sowings up to date.

    Parameters
    ----------
    unit : Unit
        A unit of work that writes; the caller commits.

    Returns
    -------
    n_made : int
        How many were made anew.
    """
    _, made, gone = _finished(unit)
    unit.learned.keep_finished(made)
    unit.learned.forget_finished(gone)
    return len(made)


def learned_key(unit: Unit) -> tuple[object, ...]:
    """Return what learning depends on, to keep results under.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    key : tuple
        Sowings that ended with their last entries, the house's version, and the choices.
    """
    version = unit.houses.current()
    choices = unit.learned.choices()
    return (
        None if version is None else (version.version, hash(version.text)),
        tuple(unit.learned.ended(N_SOWINGS_MOST)),
        tuple((each.name, each.value) for each in choices),
    )


def learned_now(unit: Unit) -> Learned:
    """Return what the house has learned.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    learned : Learned
        Factors and evidence; kept while nothing changes.
    """
    return _LEARNED.get(learned_key(unit), lambda: learn(finished_of_book(unit), choices_of(unit)))


def values_now(unit: Unit, season: int | None = None) -> LearnedValues:
    """Return the learned values that take the place of the handbook's.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    season : int or None, default None
        Year that is planned; None is one that nothing is known of yet.

    Returns
    -------
    values : LearnedValues
        By crop, ready rule and task.
    """
    return _VALUES.get(
        (season, *learned_key(unit)),
        lambda: values_of(learned_now(unit), house_of(unit)[1], season),
    )


def learned_house_of(
    unit: Unit, version: int | None = None, season: int | None = None
) -> tuple[House, Catalog, WeatherYear | None]:
    """Return the house as it has learned to know itself, for new plans and for forecasts.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    version : int or None, default None
        Version of the house; None is the current one.
    season : int or None, default None
        Year that is planned; None is one that nothing is known of yet.

    Returns
    -------
    house : House
        The house with its own rates of work.
    catalog : Catalog
        The handbook with the house file's values, and with what was learned over both.
    weather : WeatherYear or None
        The typical year.
    """
    house, catalog, weather = house_of(unit, version)
    return (*_laid(house, catalog, values_now(unit, season)), weather)


def plan_house_of(unit: Unit, head: PlanHead) -> tuple[House, Catalog, WeatherYear | None]:
    """Return the house as a plan was made with it.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    head : PlanHead
        The plan.

    Returns
    -------
    house, catalog, weather
        As that plan knew them, with what had been learned when it was made.
    """
    house, catalog, weather = house_of(unit, head.house_version)
    body = unit.learned.of_plan(head.id)
    if body is None:
        return house, catalog, weather
    return (*_laid(house, catalog, LearnedValues.from_json(body)), weather)


def _laid(house: House, catalog: Catalog, values: LearnedValues) -> tuple[House, Catalog]:
    """Lay values over a house once, and keep it: pages know a house by its identity."""
    if not values:
        return house, catalog
    found = _HOUSES.get(
        (id(house), id(catalog), values.as_json()),
        lambda: (*laid_over(house, catalog, values), house, catalog),
    )
    return found[0], found[1]


def freeze_factor(
    desk: Desk, key: str, multiplier: float, person: str = "", reason: str = ""
) -> None:
    """Freeze a factor.

    Parameters
    ----------
    desk : Desk
        The desk.
    key : str
        Key of the factor.
    multiplier : float
        What it is to be.
    person, reason : str
        Who freezes it, and why.

    Raises
    ------
    UnknownNameError
        If the house has no such factor.
    OutOfRangeError
        If the multiplier is far from anything that can be.
    """
    Choices(frozen={key: multiplier})
    with desk.book.writing() as unit:
        if key not in {each.key for each in learned_now(unit).factors}:
            raise UnknownNameError(key, "learned factor")
        unit.learned.choose(FREEZE + key, multiplier, desk.clock(), person, reason)
        unit.commit()


def drop_evidence(desk: Desk, key: str, person: str = "", reason: str = "") -> None:
    """Leave out one piece of evidence.

    Parameters
    ----------
    desk : Desk
        The desk.
    key : str
        Its key.
    person, reason : str
        Who drops it, and why.

    Raises
    ------
    UnknownNameError
        If there is no such evidence.
    """
    with desk.book.writing() as unit:
        if key not in {each.key for each in learned_now(unit).evidence}:
            raise UnknownNameError(key, "piece of evidence")
        unit.learned.choose(DROP + key, None, desk.clock(), person, reason)
        unit.commit()


def undo_choice(desk: Desk, name: str, person: str = "", reason: str = "") -> None:
    """Take back what was frozen or dropped.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        Name of the choice: ``freeze|`` or ``drop|`` and the key.
    person, reason : str
        Who takes it back, and why.

    Raises
    ------
    OutOfRangeError
        If it is no name of a choice.
    UnknownNameError
        If nothing of that name was chosen.
    """
    if not name.startswith((FREEZE, DROP)):
        raise OutOfRangeError("choice", f"begin with {FREEZE} or {DROP}", name)
    with desk.book.writing() as unit:
        if not unit.learned.undo(name, desk.clock(), person, reason):
            raise UnknownNameError(name, "choice about what was learned")
        unit.commit()


def _finished(
    unit: Unit,
) -> tuple[tuple[FinishedSowing, ...], list[KeptFinished], list[str]]:
    """Return finished sowings, the rows that the cache lacks, and those it has too many."""
    ended = {each.sowing: each for each in unit.learned.ended(N_SOWINGS_MOST)}
    kept = unit.learned.finished()
    losses = unit.learned.losses_entered(ended)
    version = unit.houses.current()
    basis = f"{_VERSION} {0 if version is None else version.version}"
    found: dict[str, FinishedSowing | None] = {}
    missing: list[Ended] = []
    for name, each in ended.items():
        row = kept.get(name)
        if row is not None and (row.seq, row.basis) == (each.last_seq, _basis(basis, each, losses)):
            found[name] = _DECODER.decode(row.body)
        else:
            missing.append(each)
    made: list[KeptFinished] = []
    if missing:
        house, catalog, weather = house_of(unit)
        climates = Climates(house, weather)
        for at in range(0, len(missing), _PART):
            part = missing[at : at + _PART]
            endings = _endings(unit, part, losses)
            told = finished_sowings(endings, catalog, climates)
            for each in part:
                one = told.get(each.sowing)
                found[each.sowing] = one
                body = msgspec.json.encode(one).decode()
                of = _basis(basis, each, losses)
                made.append(KeptFinished(each.sowing, each.last_seq, of, body))
    gone = [name for name in kept if name not in ended]
    return tuple(each for each in found.values() if each is not None), made, gone


def _basis(basis: str, ended: Ended, losses: frozenset[int]) -> str:
    """Return what a finished sowing rests on beside its own entries."""
    return f"{basis} {'losses' if ended.ended_date.year in losses else ''}".strip()


def _endings(unit: Unit, ended: list[Ended], losses: frozenset[int]) -> list[Ending]:
    """Read the journals of ended sowings, and what goes with them."""
    names = [each.sowing for each in ended]
    entries: dict[str, list[Entry]] = {}
    for entry in unit.journal.that_stand(names):
        entries.setdefault(entry.sowing, []).append(entry)
    starts = {each.sowing: each for each in unit.standings.all() if each.sowing in set(names)}
    lots = {each.id: each for each in unit.lots.all()}
    every = [entry for of in entries.values() for entry in of]
    orders = unit.orders.named({each.order for each in every if each.order})
    worked = _worked(unit, every)
    out = []
    for each in ended:
        of = tuple(entries.get(each.sowing, ()))
        life = sowing_life(each.sowing, of, starts.get(each.sowing))
        systems = [orders[one.order].system for one in of if one.order in orders]
        n_seeds, n_cells = life.n_seeds or 0, life.n_cells or 0
        out.append(
            Ending(
                life,
                of,
                starts.get(each.sowing),
                lots.get(life.lot),
                systems[0] if systems else "any",
                worked.get(each.sowing, ()),
                max(round(n_seeds / n_cells), 1) if n_seeds and n_cells else 1,
                each.ended_date.year in losses,
            )
        )
    return out


def _worked(unit: Unit, entries: Iterable[Entry]) -> Mapping[str, tuple[Worked, ...]]:
    """Put minutes worked beside those reckoned with what the handbook says."""
    told = [
        (each, minutes)
        for each in entries
        if each.job
        and isinstance(minutes := each.values.get(MINUTES_WORKED), int | float)
        and minutes > 0
    ]
    planned = unit.learned.minutes_planned({each.job for each, _ in told})
    factors: dict[int, Mapping[str, float]] = {}
    out: dict[str, tuple[Worked, ...]] = {}
    for each, minutes in told:
        if each.job not in planned or planned[each.job][1] <= 0.0:
            continue
        plan, reckoned = planned[each.job]
        if plan not in factors:
            body = unit.learned.of_plan(plan)
            factors[plan] = {} if body is None else LearnedValues.from_json(body).minutes
        task = each.job.split("/")[1]
        # Always against the handbook, so that learning does not feed on itself.
        handbook = reckoned / factors[plan].get(task, 1.0)
        done = Worked(task, float(minutes), handbook)
        out[each.sowing] = (*out.get(each.sowing, ()), done)
    return out
