"""Seed in: seed.csv to the lots of the house."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sowbench.domain.records import SeedLot
from sowbench.exchange.fields import Fields, parse_whole
from sowbench.exchange.tables import read_table
from sowbench.science.errors import InputFileError, Problem

COLUMNS = (
    "lot",
    "crop",
    "variety",
    "n_tested",
    "n_normal",
    "tested_on",
    "n_seeds",
    "arrives_on",
    "use_by",
    "seeds_per_g",
    "seedlings_per_unit",
    "price_per_1000",
    "pack_sizes",
    "moisture_percent",
    "storage_c",
    "treated",
    "pelleted",
    "primed",
    "organic",
    "passport",
    "note",
)
REQUIRED = ("lot", "crop", "n_tested", "n_normal", "n_seeds")


@dataclass(frozen=True, slots=True)
class SeedRead:
    """Lots of a file, and notes for the person who gave it."""

    lots: tuple[SeedLot, ...]
    notes: tuple[str, ...] = ()


def read_seed(path: str | Path, *, resolve_crop: Callable[[str], str]) -> SeedRead:
    """Read seed.csv, or a workbook with the same headers.

    Parameters
    ----------
    path : str or Path
        File to read.
    resolve_crop : callable
        From any spelling of a crop to its id; raises UnknownNameError.

    Returns
    -------
    read : SeedRead
        Lots in file order.

    Raises
    ------
    InputFileError
        With every problem of the file; nothing of it is taken then.
    """
    table = read_table(path, COLUMNS, REQUIRED, sheet="seed")
    problems: list[Problem] = []
    first: dict[str, int] = {}
    lots: list[SeedLot] = []
    for row in table.rows:
        cells = Fields(table, row, problems)
        lot = _lot(cells, resolve_crop)
        if lot.id in first and lot.id:
            cells.problem(
                "lot",
                f"This lot stands in row {first[lot.id]} already; each lot needs its own name.",
            )
        first.setdefault(lot.id, row.number)
        lots.append(lot)
    if problems:
        raise InputFileError(problems)
    return SeedRead(tuple(lots), table.notes)


def _lot(cells: Fields, resolve_crop: Callable[[str], str]) -> SeedLot:
    """Read one row, leaving a problem for each cell that is wrong."""
    name = cells.name("lot")
    crop = cells.resolved("crop", resolve_crop)
    n_tested = cells.whole("n_tested", least=1, required=True)
    n_normal = cells.whole("n_normal", least=0, required=True)
    if n_tested is not None and n_normal is not None and n_normal > n_tested:
        cells.problem("n_normal", f"n_normal must not be more than n_tested ({n_tested}).")
    n_seeds = cells.whole("n_seeds", least=0, required=True)
    tested_on = cells.day("tested_on")
    arrives_on = cells.day("arrives_on")
    use_by = cells.day("use_by")
    if use_by and arrives_on and use_by < arrives_on:
        cells.problem("use_by", f"use_by must not be before arrives_on ({arrives_on}).")
    per_unit = cells.number_of("seedlings_per_unit", above=0, most=20)
    return SeedLot(
        id=name,
        crop=crop,
        variety=cells.text("variety"),
        n_tested=n_tested or 0,
        n_normal=n_normal or 0,
        n_seeds=n_seeds,
        tested_on=tested_on,
        arrives_on=arrives_on,
        use_by=use_by,
        seeds_per_g=cells.number_of("seeds_per_g", above=0, most=1_000_000),
        seedlings_per_unit=1.0 if per_unit is None else per_unit,
        price_per_1000=cells.number_of("price_per_1000", least=0, most=1_000_000),
        pack_sizes=_pack_sizes(cells),
        moisture_frac=_moisture_frac(cells),
        storage_c=cells.number_of("storage_c", least=-30, most=50, rule=" of °C from -30 to 50"),
        treated=cells.yes_no("treated"),
        pelleted=cells.yes_no("pelleted"),
        primed=cells.yes_no("primed"),
        organic=cells.yes_no("organic"),
        passport=cells.text("passport"),
    )


def _moisture_frac(cells: Fields) -> float | None:
    """Read the moisture of the seed, percent of fresh weight at the door and a share inside."""
    percent = cells.number_of(
        "moisture_percent", least=1, most=30, rule=" of percent from 1 to 30, as 6 for 6 %"
    )
    return None if percent is None else percent / 100


def _pack_sizes(cells: Fields) -> tuple[int, ...]:
    """Read the sizes of the packs that can be bought, seeds each, smallest first."""
    sizes: set[int] = set()
    for text in cells.names("pack_sizes"):
        size = parse_whole(text)
        if isinstance(size, str) or size < 1:
            advice = f" {size}" if isinstance(size, str) and size else ""
            cells.problem(
                "pack_sizes",
                f"pack_sizes must be whole numbers of seeds with '|' between, as 500|1000.{advice}",
            )
            return ()
        sizes.add(size)
    return tuple(sorted(sizes))
