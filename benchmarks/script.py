"""A plan as the crew plays it: every sowing's places by day, its size and whom it is for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sowbench.domain.plan import Plan
from sowbench.domain.plan import Sowing as PlannedSowing
from sowbench.domain.records import Container, Crop, ReadyRule, StepKind
from sowbench.planning.season import Season


@dataclass(frozen=True)
class Stay:
    """Days [start, stop) in a place, with lifted units and area taken [m2]."""

    place: int
    start: int
    stop: int
    units: float
    m2: float


@dataclass(frozen=True)
class Given:
    """Cells of a sowing meant for an order, and the day on which they are to go."""

    order: int
    cells: int
    day: int


@dataclass(frozen=True)
class Sown:
    """One sowing of a plan.

    Attributes
    ----------
    chamber : int
        Place of germination apart from the growing place, -1 without.
    stays : tuple of Stay
        After the chamber, in sequence; the last goes on until the plants are fetched.
    given : tuple of Given
        In the sequence in which the sowing fills them.
    n_last, n_last_units : int
        Cells and lifted units potted on, or sown if they are not.
    pot_day : int
        Day of potting on, -1 without.
    held : bool
        Whether it ends in a cold store.
    """

    name: str
    crop: Crop
    rule: ReadyRule
    lot: int
    seeds_per_cell: int
    n_cells: int
    n_units: int
    n_last: int
    first: Container
    last: Container
    sow_day: int
    chamber: int
    chamber_m2: float
    exit_day: int
    tone_day: int
    pot_day: int
    n_last_units: int
    held: bool
    stays: tuple[Stay, ...]
    given: tuple[Given, ...]


def script_of(plan: Plan, season: Season) -> list[Sown]:
    """Read a plan as the crew would.

    Parameters
    ----------
    plan : Plan
        Any method's plan of the season.
    season : Season
        The season.

    Returns
    -------
    sowings : list of Sown
        In the sequence of the plan; what stood before is left out.
    """
    index = {o.id: k for k, o in enumerate(season.orders)}
    goes = {(o.order, h.sowing): h.date for o in plan.orders for h in o.hand_over}
    return [_sown(s, season, index, goes) for s in plan.sowings if not s.standing]


def _sown(
    sowing: PlannedSowing,
    season: Season,
    index: dict[str, int],
    goes: dict[tuple[str, str], date],
) -> Sown:
    """Read one sowing."""
    day, names = season.calendar.day, [p.name for p in season.places]
    crop = season.catalog.crops[sowing.crop]
    given = []
    for share in sowing.orders:
        order = season.orders[index[share.order]]
        when = goes.get((share.order, sowing.sowing))
        if when is None:  # nothing of it was promised to this order
            continue
        cells = -(-share.plants // season.plants_per_cell(order))
        given.append(Given(index[share.order], cells, day(when)))
    first = season.catalog.containers[sowing.steps[0].container]
    last = season.catalog.containers[sowing.steps[-1].container]
    order = season.orders[index[sowing.orders[0].order]]
    rule = season.rule(crop, last, order.system)
    if rule is None:
        message = f"{sowing.sowing} must have a ready rule in {last.id} for {order.system}."
        raise LookupError(message)
    steps = list(sowing.steps)
    chamber, exit_day, chamber_m2 = -1, day(steps[0].from_date), 0.0
    apart = len(steps) > 1 and steps[0].place != steps[1].place
    if apart and steps[0].kind == StepKind.GERMINATE:
        chamber, exit_day = names.index(steps[0].place), day(steps[0].to_date)
        chamber_m2 = steps[0].n_containers * first.area_m2
        steps = steps[1:]
    stays = []
    for step in steps:
        container = season.catalog.containers[step.container]
        outer = step.n_containers * container.area_m2
        spread = step.n_cells / step.plants_per_m2 if step.plants_per_m2 > 0 else outer
        stays.append(
            Stay(
                names.index(step.place),
                day(step.from_date),
                day(step.to_date),
                float(step.n_containers),
                max(outer, spread),
            )
        )
    toned = [day(s.from_date) for s in sowing.steps if s.kind == StepKind.TONE]
    potted = [s for s in sowing.steps if s.container == last.id and first.id != last.id]
    return Sown(
        sowing.sowing,
        crop,
        rule,
        next(k for k, lot in enumerate(season.lots) if lot.record.id == sowing.lot),
        sowing.seeds_per_cell,
        sowing.n_cells,
        sowing.steps[0].n_containers,
        max(s.n_cells for s in potted) if potted else sowing.n_cells,
        first,
        last,
        day(sowing.sow_date),
        chamber,
        chamber_m2,
        exit_day,
        toned[0] if toned else stays[-1].stop,
        day(potted[0].from_date) if potted else -1,
        max(s.n_containers for s in potted) if potted else sowing.steps[0].n_containers,
        any(s.kind == StepKind.HOLD for s in sowing.steps),
        tuple(stays),
        tuple(given),
    )
