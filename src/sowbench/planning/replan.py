"""Re-planning: stay close to a kept plan, honor pins on its sowings, and say what moved."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from sowbench.domain.plan import Moved, Sowing
from sowbench.domain.records import Pin, StepKind
from sowbench.planning.candidates import Candidates
from sowbench.planning.fixed import sown_already
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.placed import Placed
from sowbench.planning.program import Program
from sowbench.planning.season import Season

# Money by which a kept sowing is favored: a share of its cost, and at least so much.
KEEP_FRAC = 0.05
KEEP_LEAST = 2.0


@dataclass(frozen=True, slots=True)
class Way:
    """What makes a sowing of the kept plan the same one in the new plan."""

    orders: frozenset[str]
    lot: str
    sow_day: int
    container: str
    place: str


def kept_ways(inputs: PlanInputs) -> dict[Way, str]:
    """Sowings of the kept plan that are not yet sown, by what makes them the same, with names."""
    if inputs.kept is None:
        return {}
    done = {s.sowing for s in sown_already(inputs)}
    first = inputs.from_date
    out = {}
    for s in inputs.kept.sowings:
        if s.sowing not in done and s.sow_date >= first and s.steps:
            out[way_of(s)] = s.sowing
    return out


def way_of(sowing: Sowing) -> Way:
    """What makes a sowing of a plan the same one; its day is counted from the year 1."""
    return Way(
        frozenset(share.order for share in sowing.orders),
        sowing.lot,
        sowing.sow_date.toordinal(),
        sowing.steps[0].container,
        growing_place(sowing),
    )


def growing_place(sowing: Sowing) -> str:
    """Place where a sowing grows."""
    growing = {StepKind.GROW, StepKind.POT_ON, StepKind.SPACE}
    return next((s.place for s in sowing.steps if s.kind in growing), sowing.steps[0].place)


def stay_close(season: Season, candidates: Candidates, keep: dict[Way, str]) -> Program:
    """Lower the cost of the kept ways for the search, so that little else moves than must."""
    program = candidates.program
    variable = program.cost_variable.copy()
    wanted = set(keep)
    first = season.calendar.first.toordinal()
    at = 0
    days = {w.sow_day - first for w in wanted}
    for block in candidates.blocks:
        sow = block.timeline.sow_day[block.sow]
        place = season.places[block.route.grow].name
        for i in np.flatnonzero(np.isin(sow, list(days))):
            option = block.choices[int(block.choice[i])]
            way = Way(
                frozenset(
                    season.orders[o].id for o in candidates.groups[int(block.group[i])].orders
                ),
                season.lots[option.lot].record.id,
                int(sow[i]) + first,
                option.path.first.id,
                place,
            )
            if way in wanted:
                variable[at + i] -= max(KEEP_LEAST, KEEP_FRAC * abs(float(variable[at + i])))
        at += len(block)
    return replace(program, cost_variable=variable)


def names_taken(inputs: PlanInputs, fixed: list[Placed]) -> dict[str, int]:
    """Letters that names of new sowings may not use again, by stem."""
    names = [p.name for p in fixed]
    if inputs.kept is not None:
        names += [s.sowing for s in inputs.kept.sowings]
    taken: dict[str, int] = {}
    for name in names:
        stem, _, letter = name.rpartition(" ")
        if stem and letter.isalpha() and letter.islower():
            number = 0
            for c in letter:
                number = number * 26 + ord(c) - ord("a") + 1
            taken[stem] = max(taken.get(stem, 0), number)
    return taken


def rename_kept(season: Season, placed: list[Placed], keep: dict[Way, str]) -> None:
    """Give sowings that are the same as in the kept plan their old names."""
    first = season.calendar.first.toordinal()
    free = dict(keep)
    for p in placed:
        way = Way(
            frozenset(season.orders[o].id for o, _ in p.orders),
            season.lots[p.option.lot].record.id,
            p.sow_day + first,
            p.option.path.first.id,
            season.places[p.row.route.grow].name,
        )
        name = free.pop(way, None)
        if name is not None:
            p.name = name


def order_pins(inputs: PlanInputs) -> list[Pin]:
    """Pins by order; a pin on a sowing of the kept plan holds for the orders it serves."""
    known = {o.id for o in inputs.orders}
    out = []
    for pin in inputs.pins:
        if pin.target in known or inputs.kept is None:
            out.append(pin)
            continue
        for s in inputs.kept.sowings:
            if s.sowing == pin.target:
                out += [replace(pin, target=share.order) for share in s.orders]
    return out


def moved(inputs: PlanInputs, sowings: Iterable[Sowing]) -> list[Moved]:
    """What changed against the kept plan, sowing by sowing."""
    if inputs.kept is None:
        return []
    new = {s.sowing: s for s in sowings}
    old = {
        s.sowing: s
        for s in inputs.kept.sowings
        if s.steps and s.steps[-1].to_date > inputs.from_date
    }
    out = []
    gone = [s for name, s in old.items() if name not in new]
    fresh = [s for name, s in new.items() if name not in old]
    for name in sorted(old.keys() & new.keys()):
        out += differences(old[name], new[name])
    for s in gone:
        twin = next((f for f in fresh if _same_job(s, f)), None)
        if twin is None:
            out.append(Moved(s.sowing, "dropped", f"{s.n_cells} cells", ""))
            continue
        fresh.remove(twin)
        out.append(Moved(twin.sowing, "instead of", s.sowing, twin.sowing))
        out += differences(s, twin)
    out += [Moved(s.sowing, "added", "", f"{s.n_cells} cells") for s in fresh]
    return out


def _same_job(old: Sowing, new: Sowing) -> bool:
    """Whether a new sowing does the job of a dropped one."""
    orders = {share.order for share in old.orders}
    return old.crop == new.crop and bool(orders & {share.order for share in new.orders})


def differences(old: Sowing, new: Sowing) -> list[Moved]:
    """Changes of one sowing that its crew would notice."""
    pairs = [
        ("sowing day", old.sow_date.isoformat(), new.sow_date.isoformat()),
        ("lot", old.lot, new.lot),
        ("container", old.steps[0].container, new.steps[0].container),
        ("cells", str(old.n_cells), str(new.n_cells)),
        ("seeds per cell", str(old.seeds_per_cell), str(new.seeds_per_cell)),
        ("place", growing_place(old), growing_place(new)),
        ("last day", old.steps[-1].to_date.isoformat(), new.steps[-1].to_date.isoformat()),
    ]
    return [Moved(new.sowing, what, a, b) for what, a, b in pairs if a != b]
