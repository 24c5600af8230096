"""Seed lots entered: one by a form, or many by a file, checked by one reader."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import SeedLot
from sowbench.exchange.plan_tables import table_bytes
from sowbench.exchange.seed import COLUMNS, SeedRead, read_seed
from sowbench.science.errors import InputFileError, Problem, UnknownNameError
from sowbench.services.book_inputs import house_of
from sowbench.services.form_file import by_field, read_form, read_upload

if TYPE_CHECKING:
    from pathlib import Path

    from sowbench.domain.ports import Unit
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

FILE: Final = "seed.csv"
MOST_SHOWN: Final = 200
FLAGS: Final = ("treated", "pelleted", "primed", "organic")


@dataclass(frozen=True, slots=True)
class LotForm:
    """A lot to fill in; ``values`` and ``problems`` by column of seed.csv."""

    name: str
    is_new: bool
    values: Mapping[str, str]
    crops: tuple[tuple[str, str], ...]
    problems: Mapping[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LotDifference:
    """What a file would do to one lot: new, or what changes, column by column."""

    lot: str
    crop: str
    is_new: bool
    changes: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class SeedIntake:
    """A file of lots, looked at before it is taken in.

    ``table`` is what was read, as seed.csv, to be sent back when it is taken in; ``n_more`` counts
    differences or problems that are not listed.
    """

    file: str
    problems: tuple[Problem, ...]
    differences: tuple[LotDifference, ...]
    n_new: int
    n_changed: int
    n_same: int
    n_more: int
    notes: tuple[str, ...]
    table: str


def lot_form(desk: Desk, name: str = "", values: Mapping[str, str] | None = None) -> LotForm:
    """Gather the form of a lot.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str, default ""
        The lot to change; blank for a new one.
    values : mapping of str to str or None, default None
        Values to start from.

    Returns
    -------
    form : LotForm
        The form.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    with desk.book.reading() as unit:
        _, catalog, _ = house_of(unit)
        return LotForm(
            name=name,
            is_new=not name,
            values={**(_texts(_known(unit, name)) if name else {}), **(values or {})},
            crops=_crops(catalog),
        )


def save_lot(
    desk: Desk, name: str, values: Mapping[str, str], person: str = ""
) -> tuple[str, LotForm | None]:
    """Keep a lot that was filled in.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The lot to change; blank for a new one.
    values : mapping of str to str
        Text by column of seed.csv; ``note`` is kept as the reason of the change.
    person : str, default ""
        Who.

    Returns
    -------
    lot : str
        Its name; blank if something is wrong.
    form : LotForm or None
        The form with what is wrong; None once it is kept.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    with desk.book.writing() as unit:
        if name:
            _known(unit, name)
        _, catalog, _ = house_of(unit)
        given = {**values, "lot": name} if name else dict(values)
        read, problems = read_form(FILE, COLUMNS, given, lambda path: _read(path, catalog))
        found = by_field(problems)
        lot = read.lots[0] if read is not None and read.lots else None
        if lot is not None and not name and unit.lots.get(lot.id) is not None:
            found["lot"] = [f"There is a lot {lot.id} already; change it on its own page."]
        if lot is None or found:
            found = found or {"lot": ["lot must not be blank."]}
            return "", LotForm(name, not name, given, _crops(catalog), found)
        reason = " ".join(values.get("note", "").split())
        unit.lots.put([lot], desk.clock(), person, reason or ("entered" if not name else ""))
        unit.commit()
        return lot.id, None


def look_at_seed(desk: Desk, file: str, content: bytes) -> SeedIntake:
    """Look at a file of lots before it is taken in.

    Parameters
    ----------
    desk : Desk
        The desk.
    file : str
        Name of the file.
    content : bytes
        Its content, CSV or XLSX.

    Returns
    -------
    intake : SeedIntake
        What is wrong, or what it would change.
    """
    with desk.book.reading() as unit:
        _, catalog, _ = house_of(unit)
        known = {each.id: each for each in unit.lots.all()}
    read, problems = read_upload(file or FILE, content, lambda path: _read(path, catalog))
    if read is None:
        shown = problems[:MOST_SHOWN]
        return SeedIntake(file, shown, (), 0, 0, 0, len(problems) - len(shown), (), "")
    differences = [_difference(each, known.get(each.id)) for each in read.lots]
    changed = [each for each in differences if each.is_new or each.changes]
    n_new = sum(each.is_new for each in changed)
    return SeedIntake(
        file=file,
        problems=(),
        differences=tuple(changed[:MOST_SHOWN]),
        n_new=n_new,
        n_changed=len(changed) - n_new,
        n_same=len(differences) - len(changed),
        n_more=max(len(changed) - MOST_SHOWN, 0),
        notes=read.notes,
        table=seed_table(read.lots).decode("utf-8"),
    )


def take_seed_in(desk: Desk, table: str, file: str, person: str = "") -> int:
    """Take in the lots of a file that was looked at.

    Parameters
    ----------
    desk : Desk
        The desk.
    table : str
        What was read, as seed.csv.
    file : str
        Name of the file it came from.
    person : str, default ""
        Who.

    Returns
    -------
    n : int
        Lots that are new or have changed.

    Raises
    ------
    InputFileError
        If the table cannot be read.
    """
    with desk.book.writing() as unit:
        _, catalog, _ = house_of(unit)
        read, problems = read_upload(
            file or FILE, table.encode("utf-8"), lambda path: _read(path, catalog)
        )
        if read is None:
            raise InputFileError(problems)
        n = unit.lots.put(read.lots, desk.clock(), person, f"taken in from {file or FILE}")
        unit.commit()
    return n


def seed_file(desk: Desk) -> bytes:
    """Write all lots as seed.csv.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    content : bytes
        The file.
    """
    with desk.book.reading() as unit:
        return seed_table(unit.lots.all())


def seed_table(lots: Sequence[SeedLot]) -> bytes:
    """Write lots as seed.csv.

    Parameters
    ----------
    lots : sequence of SeedLot
        The lots.

    Returns
    -------
    content : bytes
        The file; reading it gives the same lots.
    """
    # The only number that may be below zero; as a text it would get an apostrophe in front.
    return table_bytes(COLUMNS, [_texts(each) | {"storage_c": each.storage_c} for each in lots])


def _read(path: Path, catalog: Catalog) -> SeedRead:
    """Read a file of lots."""
    return read_seed(path, resolve_crop=catalog.crop_id)


def _known(unit: Unit, name: str) -> SeedLot:
    """Return a lot that must be there."""
    lot = unit.lots.get(name)
    if lot is None:
        raise UnknownNameError.among(name, "lot", [each.id for each in unit.lots.all()])
    return lot


def _crops(catalog: Catalog) -> tuple[tuple[str, str], ...]:
    """List the crops by name."""
    return tuple(sorted(((each.id, each.name) for each in catalog.crops.values()), key=_second))


def _second(pair: tuple[str, str]) -> str:
    """Sort by the name."""
    return pair[1].casefold()


def _texts(lot: SeedLot) -> dict[str, str]:
    """Write a lot as texts by column."""
    found = {
        "lot": lot.id,
        "crop": lot.crop,
        "variety": lot.variety,
        "pack_sizes": "|".join(str(each) for each in lot.pack_sizes),
        "moisture_percent": "" if lot.moisture_frac is None else f"{100 * lot.moisture_frac:.10g}",
        "passport": lot.passport,
    }
    for each in fields(SeedLot):
        if each.name in COLUMNS and each.name not in found:
            value = getattr(lot, each.name)
            if isinstance(value, bool):
                found[each.name] = "yes" if value else "no"
            elif isinstance(value, float):
                found[each.name] = f"{value:.10g}"
            else:
                found[each.name] = "" if value is None else str(value)
    return found


def _difference(lot: SeedLot, known: SeedLot | None) -> LotDifference:
    """Say what taking a lot in would change."""
    new = _texts(lot)
    if known is None:
        return LotDifference(lot.id, lot.crop, is_new=True, changes=())
    old = _texts(known)
    return LotDifference(
        lot=lot.id,
        crop=lot.crop,
        is_new=False,
        changes=tuple(
            (column, old.get(column, ""), new.get(column, ""))
            for column in COLUMNS
            if old.get(column, "") != new.get(column, "")
        ),
    )
