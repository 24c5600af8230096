"""A house book of sowings that are over, drawn from a house that differs from the handbook."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
from scipy.special import ndtr

from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.records import Order, SeedLot
from sowbench.reference.catalog import load_catalog

NOW = datetime(2027, 7, 1, 9, 0, tzinfo=UTC)
TODAY = date(2027, 7, 1)
HOUSE = """
[house]
name = "Nettle Bank (invented)"
time_zone = "Etc/GMT+5"

[crew]
minutes_per_day = 480
rate_per_hour = 18.0

[[place]]
name = "warm bench"
kind = "bench"
area_m2 = 60.0
temp_c = 20.0
covered = true

[[place]]
name = "cool bench"
kind = "bench"
area_m2 = 60.0
temp_c = 16.0
covered = true
"""
LAG, GROWTH, STAND = 0.20, -0.12, 0.90


def entry(sowing: str, word: str, day: date, kind: EntryKind, **more: object) -> Entry:
    """Write an entry."""
    id_ = hashlib.sha256(f"{sowing} {word} {day}".encode()).hexdigest()[:32]
    return Entry(id_, day, kind, sowing, **more)  # type: ignore[arg-type]


def ended_sowing(
    name: str,
    crop: str = "kale",
    sown: date = date(2027, 3, 1),
    *,
    lag: float = LAG,
    stand: float = STAND,
    growth: float | None = GROWTH,
    lot: str = "",
    rng: np.random.Generator | None = None,
    last: date | None = None,
) -> list[Entry]:
    """Return the entries of a sowing of two trays on the warm bench that was handed over."""
    record = load_catalog().crops[crop]
    rng = rng or np.random.default_rng(0)
    rate = min(20.0, record.emergence.optimum_low_c) - record.emergence.base_c
    entries = [
        entry(name, "sown", sown, EntryKind.SOWN, n=256, n_containers=2, container="plug-128",
              place="warm bench", crop=crop, lot=lot or f"L-{crop}",
              values={"n_cells_per_tray": 128, "n_seeds": 256})
    ]  # fmt: skip
    goal = record.emergence.thermal_time_cd * np.exp(lag)
    half_d = goal / rate
    for ahead in (0.0, 2.0, 8.0):
        after = max(round(half_d + ahead), 1)
        share = stand * ndtr(np.log(after * rate / goal) / record.emergence.sigma_seed)
        for tray in (1, 2):
            n = int(rng.binomial(128, share))
            entries.append(
                entry(name, f"count {tray}", sown + timedelta(days=after), EntryKind.COUNTED,
                      n=n, trays=(tray,))
            )  # fmt: skip
    rule = load_catalog().rule_for(crop, "plug-128", "any")
    assert rule is not None
    grown_d = half_d + 1 + rule.days_ref * np.exp(growth or 0.0) + rule.tone_d + 0.5
    ready = sown + timedelta(days=int(np.ceil(grown_d)))
    if growth is not None:
        entries += [
            entry(name, "look", ready - timedelta(days=2), EntryKind.NOTED, values={"ready": 0}),
            entry(name, "ready", ready, EntryKind.NOTED, values={"ready": 1}),
        ]
    entries.append(
        entry(name, "packed", last or ready + timedelta(days=2), EntryKind.DELIVERED, n=200,
              order="O-1", values={"last": 1})
    )  # fmt: skip
    return entries


def ended_entries(n: int, crops: Sequence[str] = ("kale",), seed: int = 0) -> list[Entry]:
    """Return the entries of several sowings of some crops."""
    rng = np.random.default_rng(seed)
    out = []
    for at in range(n):
        crop = crops[at % len(crops)]
        sown = date(2027, 2, 1) + timedelta(days=2 * at)
        lag = LAG + 0.04 * rng.standard_normal()
        out += ended_sowing(f"{crop} {at}", crop, sown, lag=lag, rng=rng)
    return out


def lots(crops: Sequence[str]) -> list[SeedLot]:
    """Return a lot of each crop."""
    return [SeedLot(f"L-{crop}", crop, "", 200, 190, 50_000) for crop in crops]


def orders() -> list[Order]:
    """Return the order that all went to, and one that is open."""
    day = date(2027, 6, 1)
    return [
        Order("O-1", "kale", 2000, day, day, day),
        Order("O-2", "kale", 200, date(2027, 8, 20), date(2027, 8, 18), date(2027, 8, 24)),
    ]


def filled(book, entries: Sequence[Entry], crops: Sequence[str] = ("kale",)) -> None:
    """Fill a book."""
    with book.writing() as unit:
        unit.houses.put(HOUSE, NOW, "Ana", "")
        unit.lots.put(lots(crops), NOW, "Ana", "")
        unit.orders.put(orders(), NOW, "Ana", "")
        unit.journal.add(entries, NOW)
        unit.commit()
