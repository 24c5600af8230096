"""Make invented seasons of any size in the manner of a real house, and open the frozen ones.

A season is three files, as anybody would hand them in: orders.csv, seed.csv and house.toml. The
same number of orders, seed and sizes of places give the same files. Everything in them is
invented; the weather alone is real (see `sowbench.demo.WEATHER_SOURCE`).

    python -m benchmarks.seasons 500 --seed 7 --out season-500
"""

from __future__ import annotations

import argparse
import csv
import io
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from benchmarks.season_crops import PROFILES, Profile, variety_name
from sowbench.demo import WEATHER_NAME, weather_file
from sowbench.exchange.orders import COLUMNS as ORDER_COLUMNS
from sowbench.exchange.seed import COLUMNS as SEED_COLUMNS
from sowbench.reference.catalog import Catalog, load_catalog

INSTANCES = Path(__file__).parent / "instances"
FROM_DATE = date(2027, 1, 4)
FIRST_WANTED = date(2027, 2, 1)
LAST_WANTED = date(2027, 7, 31)
MEDIAN_PLANTS = 600.0
SIGMA_PLANTS = 0.9
LEAST_PLANTS, MOST_PLANTS = 12, 12_000
STANDING_SHARE = 0.15  # of the orders are drops of standing orders
DROPS = 10
SEED_SPARE = 1.8  # seeds in stock for each seed that the orders want at the usual rate
USABLE = 0.8  # cells that come through, for sizing by hand only

# Containers of the house, one of each kind that the profiles name, with price and days away.
CONTAINERS: Mapping[str, tuple[float, int]] = {
    "plug-50": (1.3, 10),
    "plug-72": (1.3, 10),
    "plug-128": (1.3, 10),
    "plug-200": (1.3, 10),
    "plug-288": (1.4, 10),
    "flex-72": (0.9, 0),
    "wool-25": (9.0, 0),
    "wool-38": (9.0, 0),
    "wool-block-75": (10.0, 0),
    "pot-75": (3.0, 0),
}


@dataclass(frozen=True, slots=True)
class Sizes:
    """How much the house holds.

    Attributes
    ----------
    positions : int
        Lifted units that each of the two chambers holds.
    warm_m2, cool_m2, yard_m2 : float
        Usable area of the benches and the yard [m2].
    minutes_per_day : float
        Hands [min].
    trays : mapping of str to int
        Trays owned of each kind that comes back.
    """

    positions: int
    warm_m2: float
    cool_m2: float
    yard_m2: float
    minutes_per_day: float
    trays: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Row:
    """An order as the file gives it; a standing order has `drops` of them."""

    profile: Profile
    variety: str
    plants: int
    wanted: date
    earliest: date
    latest: date
    drops: int
    confidence: str
    partial: bool


def make_season(
    folder: str | Path,
    n_orders: int,
    seed: int,
    room_scale: float = 0.75,
    sizes: Sizes | None = None,
) -> Path:
    """Write a season to a folder.

    Parameters
    ----------
    folder : str or Path
        Folder to write to; made if it is not there.
    n_orders : int
        Orders, each drop of a standing order counted; at least 20.
    seed : int
        Seed of the generator.
    room_scale : float, default 0.75
        Room as a share of the peak that the season would take without any limit, reckoned by
        hand: see `hand_sizes`. Not used if `sizes` is given.
    sizes : Sizes or None, default None
        What the house holds; None reckons it by hand.

    Returns
    -------
    folder : Path
        The folder with orders.csv, seed.csv and house.toml; the weather is not in it.

    Raises
    ------
    ValueError
        If there are fewer than 20 orders, or room_scale is not above 0.
    """
    if n_orders < 20:
        message = f"n_orders must be at least 20; got {n_orders}. A handful needs no benchmark."
        raise ValueError(message)
    if not room_scale > 0:
        message = f"room_scale must be above 0; got {room_scale}. 0.75 makes a crowded house."
        raise ValueError(message)
    rng = np.random.default_rng([seed, n_orders])
    catalog = load_catalog()
    rows = _orders(rng, n_orders)
    lots = _lots(rng, rows, catalog)
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    name = f"invented season of {n_orders} orders, seed {seed}"
    (folder / "orders.csv").write_text(_orders_csv(rows), encoding="utf-8")
    (folder / "seed.csv").write_text(_table(SEED_COLUMNS, lots), encoding="utf-8")
    sizes = sizes or hand_sizes(rows, catalog, room_scale)
    (folder / "house.toml").write_text(house_toml(name, sizes), encoding="utf-8")
    return folder


def _orders(rng: np.random.Generator, n_orders: int) -> list[_Row]:
    """Draw orders until each drop counted makes the number wanted."""
    rows: list[_Row] = []
    left = n_orders
    standing = round(STANDING_SHARE * n_orders / DROPS)
    weekly = [each for each in PROFILES if each.repeats]
    for _ in range(standing):
        profile = weekly[int(rng.integers(len(weekly)))]
        rows.append(_order(rng, profile, DROPS))
        left -= DROPS
    weight = np.array([each.weight for each in PROFILES])
    # Every crop is ordered once before any is ordered by its weight.
    first = rng.permutation(len(PROFILES))[:left]
    more = rng.choice(len(PROFILES), size=left - len(first), p=weight / weight.sum())
    rows += [_order(rng, PROFILES[int(k)], 1) for k in (*first, *more)]
    return rows


def _order(rng: np.random.Generator, profile: Profile, drops: int) -> _Row:
    """Draw one order."""
    plants = MEDIAN_PLANTS * profile.size * np.exp(SIGMA_PLANTS * rng.standard_normal())
    size = int(np.clip(round(plants / 12) * 12, LEAST_PLANTS, MOST_PLANTS))
    first = max(FIRST_WANTED, date(2027, 1, 1) + timedelta(days=profile.first_day - 1))
    last = min(LAST_WANTED, date(2027, 1, 1) + timedelta(days=profile.last_day - 1))
    last -= timedelta(days=7 * (drops - 1))
    n_days = max(1, (last - first).days + 1)
    wanted = first + timedelta(days=int(rng.integers(n_days)))
    if wanted.weekday() > 4:
        wanted -= timedelta(days=wanted.weekday() - 4)
    before, after = int(rng.integers(0, 4)), int(rng.integers(2, 11))
    if drops > 1:
        before, after = 1, 3
    return _Row(
        profile,
        variety_name(profile.crop, int(rng.integers(2))) if rng.random() < 0.5 else "",
        size,
        wanted,
        wanted - timedelta(days=before),
        wanted + timedelta(days=after),
        drops,
        ["", "", "", "0.9", "0.98"][int(rng.integers(5))],
        bool(size >= 1200 and rng.random() < 0.2),
    )


def _lots(
    rng: np.random.Generator, rows: Sequence[_Row], catalog: Catalog
) -> list[dict[str, object]]:
    """Two lots of each crop ordered, with seed for all that may be wanted of them."""
    wanted: dict[str, float] = {}
    for row in rows:
        crop = catalog.crops[row.profile.crop]
        seeds = row.plants * row.drops * crop.seeds_per_cell / crop.germination_frac / USABLE
        wanted[crop.id] = wanted.get(crop.id, 0.0) + seeds
    lots: list[dict[str, object]] = []
    for crop_id, seeds in wanted.items():
        crop = catalog.crops[crop_id]
        for k in range(2):
            n_tested = int(rng.choice([200, 400]))
            shift = -0.06 if k else 0.03
            p = float(np.clip(rng.normal(crop.germination_frac + shift, 0.03), 0.3, 0.98))
            price = crop.seed_price_per_1000 * float(rng.uniform(0.8, 1.3)) * (0.8 if k else 1.0)
            pelleted = "pelleted" in crop.placing and k == 0 and rng.random() < 0.4
            tested = date(2026, 8, 3) + timedelta(days=int(rng.integers(0, 120)))
            lots.append(
                {
                    "lot": f"L{len(lots) + 1:03d}",
                    "crop": crop_id,
                    "variety": variety_name(crop_id, k),
                    "n_tested": n_tested,
                    "n_normal": int(rng.binomial(n_tested, p)),
                    "tested_on": tested.isoformat(),
                    "n_seeds": max(100, int(np.ceil(seeds * SEED_SPARE / 100)) * 100),
                    "price_per_1000": round(price, 2),
                    "seedlings_per_unit": round(crop.seedlings_per_unit, 2),
                    "pelleted": "yes" if pelleted else "",
                }
            )
    return lots


def _orders_csv(rows: Sequence[_Row]) -> str:
    """Write the orders, sorted by nothing: they come as they came in."""
    return _table(
        ORDER_COLUMNS,
        [
            {
                "order": f"B{k:04d}",
                "customer": f"customer {1 + (k * 7) % 40}",
                "crop": row.profile.crop,
                "variety": row.variety,
                "plants": row.plants,
                "wanted_on": row.wanted.isoformat(),
                "earliest_on": row.earliest.isoformat(),
                "latest_on": row.latest.isoformat(),
                "repeat_every_d": 7 if row.drops > 1 else "",
                "repeat_until": (row.wanted + timedelta(days=7 * (row.drops - 1))).isoformat()
                if row.drops > 1
                else "",
                "system": row.profile.system,
                "container": "|".join(row.profile.containers),
                "confidence_frac": row.confidence,
                "partial": "yes" if row.partial else "",
            }
            for k, row in enumerate(rows, start=1)
        ],
    )


def _table(columns: Sequence[str], rows: Sequence[Mapping[str, object]]) -> str:
    """Write rows as CSV."""
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def hand_sizes(rows: Sequence[_Row], catalog: Catalog, room_scale: float) -> Sizes:
    """Size the house by hand: each order stands for its rule's days in its middle container.

    Parameters
    ----------
    rows : sequence
        Orders.
    catalog : Catalog
        Crops, containers and rules.
    room_scale : float
        Share of the peak that there is room for.

    Returns
    -------
    sizes : Sizes
        Six tenths of the area are warm, four tenths cool.
    """
    n_days = (LAST_WANTED - FROM_DATE).days + 30
    area, trays, sown = np.zeros(n_days), np.zeros(n_days), np.zeros(n_days)
    owned = {name: np.zeros(n_days) for name, (_, away) in CONTAINERS.items() if away}
    for row in rows:
        crop = catalog.crops[row.profile.crop]
        container = catalog.containers[row.profile.containers[len(row.profile.containers) // 2]]
        rule = catalog.rule_for(crop.id, container, row.profile.system)
        if rule is None:
            message = f"{crop.id} has no ready rule in {container.id} for {row.profile.system}."
            raise LookupError(message)
        cells = row.plants / USABLE / (crop.plants_per_cell[0] if crop.unit == "plant" else 1)
        n_trays = np.ceil(cells / container.cells)
        m2 = n_trays * container.area_m2
        stays_d = round(rule.days_ref + rule.tone_d + 8)
        for drop in range(row.drops):
            end = (row.wanted - FROM_DATE).days + 7 * drop
            start = max(0, end - stays_d)
            area[start:end] += m2
            trays[start : start + 4] += n_trays
            sown[start] += n_trays
            if container.id in owned:
                owned[container.id][start : end + 11] += n_trays
    peak = room_scale * float(area.max())
    return Sizes(
        positions=max(8, round(room_scale * float(trays.max()) / 2)),
        warm_m2=round(max(1.0, 0.6 * peak), 1),
        cool_m2=round(max(1.0, 0.4 * peak), 1),
        yard_m2=round(max(1.0, 0.3 * peak), 1),
        minutes_per_day=float(max(120, round(6.0 * float(sown.max())))),
        trays={name: max(10, int(np.ceil(use.max()))) for name, use in owned.items()},
    )


def house_toml(name: str, sizes: Sizes) -> str:
    """Write the house: two chambers, two benches, a yard, a seeder and its trays.

    Parameters
    ----------
    name : str
        Name of the house.
    sizes : Sizes
        What it holds.

    Returns
    -------
    text : str
        house.toml.
    """
    containers = "\n".join(
        f'[[container]]\nid = "{each}"\nprice = {price}\n'
        + (
            f"in_stock = {sizes.trays[each]}\nback_after_d = {away}\nwash_d = 1\n"
            if each in sizes.trays
            else "reusable = false\n"
        )
        for each, (price, away) in CONTAINERS.items()
    )
    return f"""# Invented; its weather is a typical year of station 723170.
[house]
name = "{name}"
time_zone = "Etc/GMT+5"
weather = "{WEATHER_NAME}"
weather_spread_c = 1.5
confidence_frac = 0.95

[crew]
minutes_per_day = {sizes.minutes_per_day:g}
work_days = ["Mon", "Tue", "Wed", "Thu", "Fri"]
sow_days = ["Tue", "Thu", "Fri"]
weekend_minutes = 60
closed = ["2027-04-05", "2027-05-31"]
rate_per_hour = 16.0
setup_minutes = 6

[[machine]]
name = "drum seeder"
containers = ["plug-72", "plug-128", "plug-200", "plug-288"]
trays_per_hour = 60
changeover_minutes = 15

[[place]]
name = "warm chamber"
kind = "chamber"
positions = {sizes.positions}
temp_c = 26.0
price_per_m2_day = 0.30

[[place]]
name = "lit chamber"
kind = "chamber"
positions = {sizes.positions}
temp_c = 19.0
lamp_ppfd_umol_m2_s = 40
lamp_h = 14
price_per_m2_day = 0.30

[[place]]
name = "warm bench"
kind = "bench"
area_m2 = {sizes.warm_m2:g}
usable_frac = 1.0
heat_day_c = 21.0
heat_night_c = 18.0
vent_c = 26.0
mix_offset_c = 1.0
price_per_m2_day = 0.22

[[place]]
name = "cool bench"
kind = "bench"
area_m2 = {sizes.cool_m2:g}
usable_frac = 1.0
heat_day_c = 16.0
heat_night_c = 12.0
vent_c = 21.0
price_per_m2_day = 0.09

[[place]]
name = "yard"
kind = "yard"
area_m2 = {sizes.yard_m2:g}
usable_frac = 1.0
cover_par_frac = 0.8
price_per_m2_day = 0.02

{containers}
[prices]
currency = "crowns"
short_plant = 2.00
late_plant_day = 0.03
overgrown_plant = 0.20
surplus_plant = 0.0
mix_per_l = 0.08
label = 0.02
"""


def instance_names() -> list[str]:
    """List the frozen instances.

    Returns
    -------
    names : list of str
        Folders of `INSTANCES`, by name.
    """
    return sorted(each.name for each in INSTANCES.iterdir() if (each / "orders.csv").is_file())


def open_instance(name: str, folder: str | Path) -> Path:
    """Copy a frozen instance and the weather it names into a folder.

    Parameters
    ----------
    name : str
        One of `instance_names`.
    folder : str or Path
        Folder to fill; made if it is not there.

    Returns
    -------
    folder : Path
        Folder with orders.csv, seed.csv, house.toml and the weather.

    Raises
    ------
    LookupError
        If there is no such instance.
    """
    source = INSTANCES / name
    if not (source / "orders.csv").is_file():
        message = f"name must be one of {', '.join(instance_names())}; got {name!r}."
        raise LookupError(message)
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for each in ("orders.csv", "seed.csv", "house.toml"):
        shutil.copyfile(source / each, folder / each)
    shutil.copyfile(weather_file(), folder / WEATHER_NAME)
    return folder


def main(arguments: Sequence[str] | None = None) -> None:
    """Write a season with its weather to a folder.

    Parameters
    ----------
    arguments : sequence of str or None, default None
        Command line; None takes that of the program.
    """
    parser = argparse.ArgumentParser(description="Make an invented season.")
    parser.add_argument("n_orders", type=int, help="orders, drops of standing orders counted")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room-scale", type=float, default=0.75, help="room over the free peak")
    parser.add_argument("--out", required=True, help="folder to write to")
    given = parser.parse_args(arguments)
    folder = make_season(given.out, given.n_orders, given.seed, given.room_scale)
    shutil.copyfile(weather_file(), folder / WEATHER_NAME)


if __name__ == "__main__":
    main()
