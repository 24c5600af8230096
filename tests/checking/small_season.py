"""A season small enough to be worked out by hand, and its plan.

One bench and one chamber at 20 °C, one cool bench at 15 °C, all lit by lamps, nobody but one crew.
The crop needs 60 °C d above 5 °C to emerge, so four days at 20 °C: sown on Monday at 12 h (day
0.5) it is up at day 4.5. It grows twenty days at 20 °C, so it is grown at day 24.5 and with three
days of toning ready at day 27.5: the midnight after is day 28. Ten days at 20 °C are fifteen at
15 °C ((20 - 5) / (15 - 5) times ten), so it is overgrown at day 39.5.

The root shows at 0.5 x 60 x exp(-1.645 x 0.2) = 21.59 °C d, 34.5 h after sowing: hour 46.5, between
two visits of Tuesday and 8 h of Wednesday, day 2.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from types import MappingProxyType

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from sowbench.checking import CheckInputs
from sowbench.domain.plan import (
    HandOver,
    OrderPlan,
    Plan,
    Sowing,
    SowingShare,
    Span,
    Spread,
    Step,
    Supply,
    Task,
)
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
    Season,
    SeedLot,
    StepKind,
)
from sowbench.science.quadrature import beta_nodes, normal_nodes
from sowbench.science.trays import tray_total_pmf

MONDAY = date(2027, 3, 1)
SIGMA_PACE, SIGMA_GROWTH, SIGMA_SEED = 0.10, 0.12, 0.2
N_CELLS = 60
PLANTS = 40

CROP = Crop(
    id="lettuce",
    name="Lettuce",
    scientific_name="",
    kin="",
    season=Season.COOL,
    emergence=Emergence(
        base_c=5.0, optimum_low_c=28.0, optimum_high_c=30.0, ceiling_c=38.0,
        thermal_time_cd=60.0, sigma_seed=SIGMA_SEED, sigma_pace=SIGMA_PACE, germination_share=0.5,
        top_frac=1.0, cold_c=-20.0, cold_sd_c=2.0, hot_c=50.0, hot_sd_c=2.0,
    ),
    growth=Growth(base_c=5.0, optimum_c=28.0, ceiling_c=38.0),
    min_c=5.0,
    tone_min_c=2.0,
    chill_below_c=8.0,
    chill_days_max=5,
    hardy=True,
    tone_under_cover=False,
    hold_d=7,
    hold_min_c=0.0,
    light_need=LightNeed.EITHER,
    cover=True,
    depth_mm=5.0,
    seeds_per_g=800.0,
    seedlings_per_unit=1.0,
    seeds_per_cell=1,
    max_seeds_per_cell=2,
    plants_per_cell=(1, 1),
    unit="plant",
    vine=False,
    germination_frac=0.9,
    germination_test_c=20.0,
    seed_price_per_1000=20.0,
    placing=("hand",),
    cells_ok=("tray-50", "pot-12"),
)  # fmt: skip
TRAY = Container(
    "tray-50", "Tray", "plug tray", ContainerClass.PLUG, 50, 5, 10, 500.0, 300.0, None, None,
    None, "square", 40.0, takes_mix=True, reusable=True, price=2.0, organic_ok=True,
)  # fmt: skip
POT = Container(
    "pot-12", "Pots", "pot", ContainerClass.POT, 12, 3, 4, 400.0, 300.0, None, None, None,
    "round", 300.0, takes_mix=True, reusable=False, price=1.0, organic_ok=False,
)  # fmt: skip
RULE = ReadyRule(
    "lettuce", ContainerClass.PLUG, "any", days_ref=20.0, temp_ref_c=20.0, dli_ref_mol_m2_d=10.0,
    sigma_growth=SIGMA_GROWTH, window_d_ref=10.0, leaves=4.0, tone_d=3,
)  # fmt: skip
RATES = {
    "fill_s_per_container": 60.0,
    "sow_seeds_per_h": 600.0,
    "sow_pelleted_seeds_per_h": 900.0,
    "carry_lift_s": 15.0,
    "carry_speed_m_s": 1.0,
    "carry_distance_m": 30.0,
    "carry_units_per_trip": 2.0,
    "thin_cells_per_h": 1000.0,
    "pot_on_per_h": 800.0,
    "space_per_h": 900.0,
    "water_min_per_10m2": 10.0,
    "water_times_per_d": 1.0,
    "count_s_per_tray": 30.0,
    "pack_s_per_container": 45.0,
}


@dataclass(frozen=True)
class Reference:
    """A catalog of one crop."""

    crops: dict = field(default_factory=lambda: {"lettuce": CROP})
    containers: dict = field(default_factory=lambda: {"tray-50": TRAY, "pot-12": POT})
    labor: dict = field(default_factory=lambda: dict(RATES))
    rules: dict = field(default_factory=lambda: {("lettuce", ContainerClass.PLUG): RULE})
    viability: dict = field(default_factory=dict)

    def rule_for(self, crop, container, system):
        return self.rules.get((crop, self.containers[container].container_class))

    def cells_suit(self, crop, container):
        return container in self.crops[crop].cells_ok

    def suits(self, crop, container, system):
        return self.cells_suit(crop, container)


HOUSE = House(
    name="the small house",
    light="lamps",
    confidence_frac=0.9,
    crew=Crew(minutes_per_day=60.0, rate_per_hour=12.0, weekend_minutes=30.0, setup_minutes=6.0),
    places=(
        Place("chamber", PlaceKind.CHAMBER, n_positions=6, temp_c=20.0, cover_par_frac=0.0),
        Place(
            "bench", PlaceKind.BENCH, area_m2=1.0, usable_frac=0.8, temp_c=20.0, covered=True,
            lamp_ppfd_umol_m2_s=200.0, lamp_h=16.0, price_per_m2_day=0.05,
        ),
        Place(
            "cool bench", PlaceKind.BENCH, area_m2=1.0, usable_frac=0.8, temp_c=15.0,
            covered=True, lamp_ppfd_umol_m2_s=200.0, lamp_h=16.0, price_per_m2_day=0.02,
        ),
        Place("store", PlaceKind.COLD_STORE, n_positions=10, temp_c=4.0),
    ),
    stock=(
        ContainerStock("tray-50", n_in_stock=6, back_after_d=7, wash_d=1),
        ContainerStock("pot-12", n_in_stock=10),
    ),
    prices=Prices(surplus_plant=0.05),
)  # fmt: skip
LOT = SeedLot("L1", "lettuce", "Green", 100, 96, 500, price_per_1000=30.0)
ORDER = Order(
    "o1", "lettuce", PLANTS, day := MONDAY + timedelta(29), day - timedelta(1), day + timedelta(3)
)


def on(index):
    """Date of a day number."""
    return MONDAY + timedelta(days=index)


def ready_day(w, z, sow=0.5):
    """Days worked out by hand, for a season w and a pace z."""
    warm = 15.0 + 0.5 * w
    emerged = 60.0 * np.exp(SIGMA_PACE * z) / warm
    return sow + emerged + 20.0 * np.exp(SIGMA_GROWTH * z) * 15.0 / warm + 3.0


def overgrown_day(w, z, sow=0.5):
    """The window passes at 15 °C from the moment it is grown, three days before it is ready."""
    window = 10.0 * np.exp(SIGMA_GROWTH * z) * 15.0 / (10.0 + 0.5 * w)
    return ready_day(w, z, sow) - 3.0 + window


W_NODES, W_WEIGHTS = normal_nodes(5)


def share_by(day, function):
    """Chance that a day worked out by hand has come."""
    total = 0.0
    for w, weight in zip(W_NODES, W_WEIGHTS, strict=True):
        z = brentq(lambda z, w=w: function(w, z) - day, -40, 40)
        total += weight * norm.cdf(z)
    return total


def quantile(function, share):
    """Midnight at or after the day by which a share of the chance has come."""
    return int(np.ceil(brentq(lambda day: share_by(day, function) - share, 10, 200)))


def usable_nodes():
    """Share of usable cells at nine germinations; the climate has no say in this house."""
    p, weights = beta_nodes(97.0, 5.0)
    # Up three days after the median: 60 + 45 °C d at 15 °C d a day.
    on_time = norm.cdf(np.log(105.0 / 60.0) / SIGMA_SEED)
    return p * 0.95 * on_time * 0.98 * 0.95, weights


def cells_pmf():
    """Chances of the usable cells of a tray of 50 and one of 10."""
    shares, weights = usable_nodes()
    return weights @ tray_total_pmf(N_CELLS, 50, shares)


def small_plan():
    """One order, one sowing, everything as it should be; and what it was made from."""
    pmf = cells_pmf()
    cdf = np.cumsum(pmf)
    n = np.arange(pmf.size)
    short = float(pmf @ np.maximum(PLANTS - n, 0))
    surplus = float(pmf @ np.maximum(n - PLANTS, 0))
    first, last = on(28), on(32)
    enough = float(pmf[PLANTS:].sum())
    in_time = share_by(32, ready_day) - share_by(28, overgrown_day)
    steps = (
        Step(StepKind.GERMINATE, "tray-50", 2, N_CELLS, 0.0, "chamber", on(0), on(2)),
        Step(StepKind.GROW, "tray-50", 2, N_CELLS, 0.0, "bench", on(2), on(25)),
        Step(StepKind.TONE, "tray-50", 2, N_CELLS, 0.0, "cool bench", on(25), on(29)),
    )
    sowing = Sowing(
        sowing="s1",
        orders=(SowingShare("o1", PLANTS),),
        crop="lettuce",
        variety="Green",
        lot="L1",
        seeds_per_cell=1,
        plants_per_cell=(1, 1),
        n_cells=N_CELLS,
        n_seeds=N_CELLS,
        sow_date=on(0),
        steps=steps,
        ready_date=Span(*(on(quantile(ready_day, q)) for q in (0.1, 0.5, 0.9))),
        overgrown_date=Span(*(on(quantile(overgrown_day, q)) for q in (0.1, 0.5))),
        plants=Spread(*(int(np.searchsorted(cdf, q)) for q in (0.05, 0.5, 0.95))),
    )
    # Two lifts of 15 s and half of a way of 60 s: a minute for each tray.
    carry = 2 * 1.0
    tasks = [
        Task(on(0), "sow", "s1", "chamber", 6.0 + 2.0 + 6.0 + carry),
        Task(on(0), "change lot", "s1", "chamber", 6.0),
        Task(on(2), "move", "s1", "bench", carry),
        # Up on day 4 (Friday); two days later is Sunday, so Monday, day 7.
        Task(on(7), "count", "s1", "bench", 2 * 0.5),
        Task(on(25), "tone", "s1", "cool bench", carry),
        Task(on(29), "pack", "s1", "cool bench", 2 * 0.75),
    ]
    # Two trays of 0.15 m2 make 0.3 m2 and 0.3 min a day, from day 2 to day 28.
    tasks += [Task(on(d), "water", "s1", "bench", 0.3) for d in range(2, 29)]
    nodes, weights = normal_nodes(9)
    late = sum(
        ww * wz * np.clip(np.ceil(ready_day(w, z)) - 32, 0, 60)
        for w, ww in zip(W_NODES, W_WEIGHTS, strict=True)
        for z, wz in zip(nodes, weights, strict=True)
    )
    parts = {
        "seed": 60 * 0.03,
        "container": 2 * (2.0 / 20 + 0.02),
        "mix": 60 * 0.040 * 1.1 * 0.08,
        "labor": sum(each.minutes for each in tasks) / 60 * 12.0,
        "room": 0.3 * 23 * 0.05 + 0.3 * 4 * 0.02,
        "short": 0.60 * short,
        "late": 0.05 * PLANTS * float(late),
        "overgrown": 0.30 * PLANTS * share_by(29, overgrown_day),
        "surplus": -0.05 * surplus,
    }
    cost = sum(parts.values())
    plan = Plan(
        from_date=MONDAY,
        until_date=on(32 + 14),
        cost=cost,
        cost_parts=parts,
        bound=0.8 * cost,
        gap_frac=0.25,
        gap_without_short_frac=0.25,
        seconds=1.0,
        seed=1,
        assumptions=(),
        orders=(
            OrderPlan(
                "o1", PLANTS, PLANTS, enough, in_time, enough * in_time, short,
                hand_over=(HandOver(on(29), "s1", PLANTS),),
            ),
        ),
        sowings=(sowing,),
        unmet=(),
        tasks=tuple(tasks),
        supplies=(
            Supply(on(0), on(0), "L1", 60, "seeds", 500, 0),
            Supply(on(0), on(0), "mix", 2.64, "L", 0, 2.64),
        ),
        prices=(),
    )  # fmt: skip
    assert (first, last) == (ORDER.earliest_date, ORDER.latest_date)
    inputs = CheckInputs(
        house=HOUSE, orders=(ORDER,), lots=(LOT,), catalog=Reference(), from_date=MONDAY
    )
    return plan, inputs


def with_sowing(plan, **changes):
    """The plan with its first sowing changed."""
    return replace(plan, sowings=(replace(plan.sowings[0], **changes), *plan.sowings[1:]))


def with_step(plan, at, **changes):
    """The plan with one step of its first sowing changed."""
    steps = list(plan.sowings[0].steps)
    steps[at] = replace(steps[at], **changes)
    return with_sowing(plan, steps=tuple(steps))


def with_order(plan, **changes):
    """The plan with its first order changed."""
    return replace(plan, orders=(replace(plan.orders[0], **changes), *plan.orders[1:]))


def with_part(plan, **changes):
    """The plan with some parts of its cost changed, and the cost with them."""
    parts = dict(plan.cost_parts) | changes
    return replace(plan, cost_parts=MappingProxyType(parts), cost=sum(parts.values()))
