"""A house so small that a plan is made in a blink and can be worked out by hand.

Everything stands under lamps at constant temperatures: a chamber and a bench at 20 °C, a cool
bench at 15 °C, a cold store at 4 °C. The crop needs 30 °C d above 5 °C to come up, two days at
20 °C; six days later it is grown, one day of toning later ready. Sown on day d at 12 h it is up at
d + 2.5, grown at d + 8.5 and ready at d + 9.5: the midnight after is day d + 10. It is overgrown
six days at 20 °C after it is grown, d + 14.5; at 15 °C they last (20 - 5) / (15 - 5) as long,
d + 17.5.

The root shows at 0.5 x 30 x exp(-1.645 x 0.2) = 10.79 °C d, 17.3 h after sowing: at 5 h of the next
day, so that a tray leaves the chamber at 8 h of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from sowbench.checking import CheckInputs, CheckReport, check_plan
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import (
    Container,
    ContainerClass,
    ContainerStock,
    Crew,
    Crop,
    Emergence,
    Growth,
    House,
    LightNeed,
    Order,
    Place,
    PlaceKind,
    Prices,
    ReadyRule,
    SeedLot,
)
from sowbench.domain.records import (
    Season as CropSeason,
)
from sowbench.planning.candidates import Candidates, build_candidates
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.parameters import SolveParameters
from sowbench.planning.plan import Planned, make_plan
from sowbench.planning.season import Season, make_season

MONDAY = date(2027, 3, 1)
UP_D, GROWN_D, READY_D, READY_DAY, OVER_D = 2.5, 8.5, 9.5, 10, 14.5

CRESS = Crop(
    id="cress",
    name="Cress",
    scientific_name="",
    kin="",
    season=CropSeason.COOL,
    emergence=Emergence(
        base_c=5.0, optimum_low_c=28.0, optimum_high_c=30.0, ceiling_c=38.0,
        thermal_time_cd=30.0, sigma_seed=0.2, sigma_pace=0.10, germination_share=0.5,
        top_frac=1.0, cold_c=-20.0, cold_sd_c=2.0, hot_c=50.0, hot_sd_c=2.0,
    ),
    growth=Growth(base_c=5.0, optimum_c=28.0, ceiling_c=38.0),
    min_c=5.0,
    tone_min_c=2.0,
    chill_below_c=None,
    chill_days_max=None,
    hardy=True,
    tone_under_cover=False,
    hold_d=0,
    hold_min_c=0.0,
    light_need=LightNeed.EITHER,
    cover=True,
    depth_mm=5.0,
    seeds_per_g=800.0,
    seedlings_per_unit=1.0,
    seeds_per_cell=1,
    max_seeds_per_cell=1,
    plants_per_cell=(1, 1),
    unit="plant",
    vine=False,
    germination_frac=0.9,
    germination_test_c=20.0,
    seed_price_per_1000=20.0,
    placing=("hand",),
    cells_ok=("tray-20", "box-10", "sheet-40", "pot-5"),
)  # fmt: skip
TRAY = Container(
    "tray-20", "Tray of 20", "plug tray", ContainerClass.PLUG, 20, 4, 5, 500.0, 200.0, None, None,
    None, "square", 30.0, takes_mix=True, reusable=True, price=2.0, organic_ok=True,
)  # fmt: skip
BOX = Container(
    "box-10", "Box of 10", "block tray", ContainerClass.BLOCK, 10, 2, 5, 500.0, 200.0, None, None,
    None, "square", 60.0, takes_mix=True, reusable=False, price=0.5, organic_ok=False,
)  # fmt: skip
SHEET = Container(
    "sheet-40", "Sheet of 40", "cube sheet", ContainerClass.CUBE, 40, 5, 8, 500.0, 200.0, None,
    None, None, "square", 10.0, takes_mix=False, reusable=False, price=1.0, organic_ok=False,
)  # fmt: skip
POT = Container(
    "pot-5", "Carrier of 5 pots", "pot", ContainerClass.POT, 5, 1, 5, 500.0, 200.0, None, None,
    None, "round", 200.0, takes_mix=True, reusable=False, price=0.4, organic_ok=True,
)  # fmt: skip
PLUG_RULE = ReadyRule(
    "cress", ContainerClass.PLUG, "any", days_ref=6.0, temp_ref_c=20.0, dli_ref_mol_m2_d=10.0,
    sigma_growth=0.10, window_d_ref=6.0, leaves=3.0, tone_d=1,
)  # fmt: skip
BLOCK_RULE = replace(PLUG_RULE, container_class=ContainerClass.BLOCK)
POT_RULE = replace(
    PLUG_RULE, container_class=ContainerClass.POT, days_ref=12.0, pot_on_d_ref=4.0,
    pot_on_from_class=ContainerClass.CUBE, space_d_ref=8.0, space_plants_per_m2=25.0,
)  # fmt: skip


@dataclass(frozen=True)
class Rate:
    """A rate of work as the reference keeps it."""

    value: float


RATES = {
    "fill_s_per_container": 60.0,
    "sow_seeds_per_h": 600.0,
    "sow_pelleted_seeds_per_h": 1200.0,
    "carry_lift_s": 15.0,
    "carry_speed_m_s": 1.0,
    "carry_distance_m": 30.0,
    "carry_units_per_trip": 2.0,
    "thin_cells_per_h": 1000.0,
    "gap_up_per_h": 500.0,
    "pot_on_per_h": 600.0,
    "space_per_h": 900.0,
    "water_min_per_10m2": 10.0,
    "water_times_per_d": 1.0,
    "count_s_per_tray": 30.0,
    "pack_s_per_container": 60.0,
}


@dataclass(frozen=True)
class Reference:
    """A catalog of one crop, or of a few that differ in little."""

    crops: Mapping[str, Crop] = field(default_factory=lambda: {"cress": CRESS})
    containers: Mapping[str, Container] = field(
        default_factory=lambda: {c.id: c for c in (TRAY, BOX, SHEET, POT)}
    )
    labor: Mapping[str, Rate] = field(
        default_factory=lambda: {name: Rate(value) for name, value in RATES.items()}
    )
    ready_rules: Mapping[tuple[str, ContainerClass, str], ReadyRule] = field(
        default_factory=lambda: {
            (r.crop, r.container_class, r.system): r for r in (PLUG_RULE, BLOCK_RULE, POT_RULE)
        }
    )
    viability: Mapping[str, Any] = field(default_factory=dict)

    def rule_for(self, crop, container, system):
        class_ = self.containers[container].container_class
        for name in (system, "any"):
            if (crop, class_, name) in self.ready_rules:
                return self.ready_rules[crop, class_, name]
        return None

    def cells_suit(self, crop, container):
        return container in self.crops[crop].cells_ok

    def suits(self, crop, container, system):
        if not self.cells_suit(crop, container):
            return False
        return system != "raft" or self.containers[container].container_class == "cube"


def reference(**changes):
    """The catalog with the crop changed."""
    return Reference(crops={"cress": replace(CRESS, **changes)})


CHAMBER = Place("chamber", PlaceKind.CHAMBER, n_positions=10, temp_c=20.0, cover_par_frac=0.0)
BENCH = Place(
    "bench", PlaceKind.BENCH, n_positions=10, temp_c=20.0, covered=True,
    lamp_ppfd_umol_m2_s=200.0, lamp_h=16.0, price_per_m2_day=0.10,
)  # fmt: skip
COOL = replace(BENCH, name="cool bench", temp_c=15.0, price_per_m2_day=0.05)
STORE = Place("store", PlaceKind.COLD_STORE, n_positions=10, temp_c=4.0)
LOT = SeedLot("L1", "cress", "Green", 200, 190, 5000, price_per_1000=30.0)


def house(*places, stock=("tray-20",), **changes):
    """A house with a bench, trays without end and no limit to its hands."""
    whole = House(
        name="the tiny house",
        light="lamps",
        confidence_frac=0.9,
        crew=Crew(rate_per_hour=12.0, weekend_minutes=1e6, setup_minutes=6.0),
        places=places or (BENCH,),
        stock=tuple(s if isinstance(s, ContainerStock) else ContainerStock(s) for s in stock),
        prices=Prices(short_plant=2.0),
    )
    return replace(whole, **changes)


def crew(**changes):
    """The crew of the house with something changed."""
    return replace(house().crew, **changes)


def on(day):
    """Date of a day number."""
    return MONDAY + timedelta(days=day)


def day_of(date):
    """Day number of a date."""
    return (date - MONDAY).days


def order(name, plants, day, *, early=0, late=0, **changes):
    """An order wanted on a day number."""
    crop = changes.pop("crop", "cress")
    return Order(name, crop, plants, on(day), on(day - early), on(day + late), **changes)


def inputs(*orders, **changes):
    """What a plan is made from."""
    made = PlanInputs(
        house=changes.pop("house", house()),
        catalog=changes.pop("catalog", Reference()),
        orders=orders,
        from_date=changes.pop("from_date", MONDAY),
        lots=changes.pop("lots", (LOT,)),
    )
    return replace(made, **changes)


def season_of(made: PlanInputs) -> Season:
    """The season of some inputs, before anything is chosen."""
    return make_season(
        made.house, made.catalog, made.orders, made.lots or (), made.weather, made.from_date
    )


def candidates_of(made: PlanInputs) -> tuple[Season, Candidates]:
    """All candidates of some inputs."""
    season = season_of(made)
    return season, build_candidates(season, made.pins)


TRAYS = ContainerStock("tray-20", n_in_stock=9, back_after_d=7, wash_d=1)
HANDS = crew(minutes_per_day=480.0, weekend_minutes=480.0, sow_days=(0,))


def chosen(made, germ, tone, hold="", *, day=0):
    """The candidate of the fewest cells on a path, as a block of one, with its season."""
    season, found = candidates_of(made)
    names = [p.name for p in season.places]
    for block in found.blocks:
        if names[block.route.germ] != germ:
            continue
        for j in np.argsort(block.sizing.n_cells, kind="stable"):
            end = block.route.ends[int(block.end[j])]
            held = names[end.hold] if end.hold >= 0 else ""
            on_day = block.timeline.sow_day[block.sow[j]] == day
            alone = len(found.groups[int(block.group[j])].orders) == len(made.orders)
            if names[end.tone] == tone and held == hold and on_day and alone:
                return season, found, block.take(np.array([j]))
    raise AssertionError("There is no such candidate.")


ONE_TRAY = inputs(
    order("a", 10, 12), house=house(CHAMBER, BENCH, COOL, stock=(TRAYS,), crew=HANDS)
)  # fmt: skip


def check(planned: Planned, made: PlanInputs, *, with_bound: bool = True) -> CheckReport:
    """Check a plan by the independent checker."""
    return check_plan(
        planned.plan,
        CheckInputs(
            house=made.house, orders=made.orders, lots=made.lots, catalog=made.catalog,
            from_date=made.from_date, standings=made.standings, pins=made.pins,
            weather=made.weather, kept=made.kept,
            entries=tuple(
                Entry("", each.date, EntryKind(each.kind), each.sowing, each.n, each.order)
                for each in made.done
            ),
        ),
        with_bound=with_bound,
    )  # fmt: skip


BOUND_RULES = frozenset({"bound", "gap", "bound is below the cost"})


def plan_of(
    made: PlanInputs, *, rounds: int = 4, seed: int = 0, with_bound: bool = False,
    bound_holds: bool = True,
) -> Planned:  # fmt: skip
    """Make a plan and have it checked: every plan made in these tests holds.

    Parameters
    ----------
    with_bound : bool, default False
        Whether the bound is recomputed over all candidates, too; test_bound.py does it.
    bound_holds : bool, default True
        Whether the bound must lie below the cost.
    """
    planned = make_plan(made, SolveParameters(seconds=60.0, rounds=rounds, gap_frac=0.0), seed)
    found = [
        each
        for each in check(planned, made, with_bound=with_bound).findings
        if bound_holds or each.rule not in BOUND_RULES
    ]
    assert not found, "\n".join(str(each) for each in found)
    return planned
