"""The handbook: crops and containers with every value, its source, and how to sow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isinf
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from sowbench.domain.records import Container, Crop, PlaceKind
from sowbench.domain.tray_grid import tray_grid
from sowbench.reference.card_layout import LEGEND, Card, CardRow, CardTable, cited, show_number
from sowbench.reference.cards import CROPS_NOTE, container_card, crop_card
from sowbench.reference.catalog import Catalog
from sowbench.reference.how_to_sow import how_to_sow
from sowbench.science.emergence import days_at_constant
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.cards import CardStep
from sowbench.services.emergence_curve import EmergenceCurve, days_half_up, emergence_curve
from sowbench.services.handbook_groups import IndexGroup, group_of, grouped
from sowbench.services.house_fields import MONEY_UNIT
from sowbench.services.tray_drawing import TrayDrawing, draw_tray

if TYPE_CHECKING:
    from sowbench.services.desk import Desk

_AT_C: Final = 20.0
_WHERE: Final = {
    PlaceKind.CHAMBER: "in a chamber",
    PlaceKind.BENCH: "on a bench",
    PlaceKind.WINDOWSILL: "on a windowsill",
}


@dataclass(frozen=True, slots=True)
class IndexLine:
    """A crop or a container in the list of the handbook.

    Attributes
    ----------
    id : str
        Its name in files.
    name : str
        Its name.
    words : str
        What one wants to know first.
    drawing : TrayDrawing or None
        A container as it is; None for a crop.
    """

    id: str
    name: str
    words: str
    drawing: TrayDrawing | None = None


@dataclass(frozen=True, slots=True)
class HandbookView:
    """What the list of the handbook shows.

    Attributes
    ----------
    query : str
        Word that was looked for.
    crops : tuple of IndexLine
        Crops that match.
    containers : tuple of IndexLine
        Containers that match.
    n_crops : int
        Crops in all.
    n_containers : int
        Containers in all.
    groups : tuple of IndexGroup
        The crops that match, by group.
    kinds : tuple of IndexGroup
        The containers that match, by kind.
    """

    query: str
    crops: tuple[IndexLine, ...]
    containers: tuple[IndexLine, ...]
    n_crops: int
    n_containers: int
    groups: tuple[IndexGroup, ...] = ()
    kinds: tuple[IndexGroup, ...] = ()


@dataclass(frozen=True, slots=True)
class ShownRow:
    """One value of a card as the page shows it.

    Attributes
    ----------
    label : str
        What it is.
    value : str
        How much, with its unit.
    span : str
        Its range; blank if it has none.
    cites : tuple of tuple of str
        Where it is from and how: words, and the number of the source below where it has one.
    note : str
        Why this one is used.
    others : tuple of str
        What other sources say.
    disagree : bool
        Whether one of them does not fit with it.
    """

    label: str
    value: str
    span: str
    cites: tuple[tuple[str, str], ...]
    note: str
    others: tuple[str, ...]
    disagree: bool


@dataclass(frozen=True, slots=True)
class ShownSection:
    """A part of a card: its values, a table, and notes."""

    title: str
    rows: tuple[ShownRow, ...]
    table: CardTable | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CropPage:
    """What the page of a crop shows.

    Attributes
    ----------
    id : str
        Its name in files.
    name : str
        Its name.
    subtitle : str
        Scientific name, kin, other names.
    first : tuple of tuple of str
        What one wants to know first: label, value, and what belongs to it in small.
    curve : EmergenceCurve
        How it comes up, by the temperature of the mix.
    containers : tuple of tuple of str
        Id and name of the containers it is raised in.
    container : str
        The one for which it is said how to sow.
    where : str
        Kind of place in which it germinates.
    places : tuple of tuple of str
        Kinds of place to choose from, with their words.
    steps : tuple of CardStep
        How to sow.
    cautions : tuple of str
        What can hurt someone, each once.
    sections : tuple of ShownSection
        Every value.
    sources : tuple of tuple of str
        Sources by their short name.
    legend : str
        What the marks mean.
    """

    id: str
    name: str
    subtitle: str
    first: tuple[tuple[str, ...], ...]
    curve: EmergenceCurve
    containers: tuple[tuple[str, str], ...]
    container: str
    where: str
    places: tuple[tuple[str, str], ...]
    steps: tuple[CardStep, ...]
    cautions: tuple[str, ...]
    sections: tuple[ShownSection, ...]
    sources: tuple[tuple[str, str], ...]
    legend: str


@dataclass(frozen=True, slots=True)
class ContainerPage:
    """What the page of a container shows.

    Attributes
    ----------
    id : str
        Its name in files.
    name : str
        Its name.
    subtitle : str
        What kind it is.
    first : tuple of tuple of str
        What one wants to know first: label, value, and what belongs to it in small.
    drawing : TrayDrawing
        The container as it is.
    layout : str
        Its rows and columns in words.
    crops : tuple of tuple of str
        Id and name of the crops it suits.
    sections : tuple of ShownSection
        Every value.
    sources : tuple of tuple of str
        Sources by their short name.
    legend : str
        What the marks mean.
    """

    id: str
    name: str
    subtitle: str
    first: tuple[tuple[str, ...], ...]
    drawing: TrayDrawing
    layout: str
    crops: tuple[tuple[str, str], ...]
    sections: tuple[ShownSection, ...]
    sources: tuple[tuple[str, str], ...]
    legend: str


def handbook_view(desk: Desk, query: str = "") -> HandbookView:
    """List crops and containers, those that match a word.

    Parameters
    ----------
    desk : Desk
        The desk.
    query : str, default ""
        Word to look for; blank lists everything.

    Returns
    -------
    view : HandbookView
        What the page shows.
    """
    catalog, _ = _reference(desk)
    crops = [
        (IndexLine(each.id, each.name, _crop_words(each)), f"{each.scientific_name} {each.kin}")
        for each in catalog.crops.values()
    ]
    containers = [
        (IndexLine(each.id, each.name, _container_words(each), draw_tray(each)), each.kind)
        for each in catalog.containers.values()
    ]
    words = query.casefold().split()

    def fits(line: IndexLine, more: str) -> bool:
        text = f"{line.id} {line.name} {line.words} {more}".casefold()
        return all(each in text for each in words)

    return HandbookView(
        query=query,
        crops=tuple(line for line, more in crops if fits(line, more)),
        groups=grouped(
            (line, group_of(catalog.crops[line.id])) for line, more in crops if fits(line, more)
        ),
        containers=tuple(line for line, more in containers if fits(line, more)),
        n_crops=len(crops),
        n_containers=len(containers),
        kinds=grouped((line, kind) for line, kind in containers if fits(line, kind)),
    )


def crop_page(desk: Desk, name: str, container: str = "", where: str = "") -> CropPage:
    """Gather everything about a crop.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The crop, in any spelling.
    container : str, default ""
        Container for which it is said how to sow; blank chooses one.
    where : str, default ""
        Kind of place in which it germinates; blank is a bench.

    Returns
    -------
    page : CropPage
        What the page shows.

    Raises
    ------
    UnknownNameError
        If there is no such crop or container.
    """
    catalog, currency = _reference(desk)
    crop = catalog.crop(name)
    card = crop_card(catalog, crop.id)
    raised_in = [
        catalog.containers[each] for each in crop.cells_ok if each in catalog.containers
    ] or list(catalog.containers.values())
    chosen = catalog.container(container) if container else _usual(raised_in)
    if chosen not in raised_in:
        raised_in.insert(0, chosen)
    place = PlaceKind(where) if where in {each.value for each in _WHERE} else PlaceKind.BENCH
    temp_c = _germination_temp_c(crop)
    steps = how_to_sow(catalog, crop.id, [chosen.id], crop.seeds_per_cell, place, temp_c)
    curve = emergence_curve(catalog, crop)
    return CropPage(
        id=crop.id,
        name=crop.name,
        subtitle=card.subtitle,
        first=_crop_first(crop, temp_c),
        curve=curve,
        containers=tuple((each.id, each.name) for each in raised_in),
        container=chosen.id,
        where=place.value,
        places=tuple((kind.value, words) for kind, words in _WHERE.items()),
        steps=tuple(
            CardStep(each.words, each.why, each.caution, cited(each.source, each.basis))
            for each in steps
        ),
        cautions=tuple(dict.fromkeys(each.caution for each in steps if each.caution)),
        sections=_sections(card, currency),
        sources=card.sources,
        legend=LEGEND,
    )


def container_page(desk: Desk, name: str) -> ContainerPage:
    """Gather everything about a container.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The container, in any spelling.

    Returns
    -------
    page : ContainerPage
        What the page shows.

    Raises
    ------
    UnknownNameError
        If there is no such container.
    """
    catalog, currency = _reference(desk)
    container = catalog.container(name)
    card = container_card(catalog, container.id)
    grid = tray_grid(container)
    if grid.drawn_as_is:
        layout = f"{grid.n_rows} rows of {grid.n_across}, as it stands on end"
    else:
        layout = f"{grid.n_cells} in all; rows and columns are not known, so this is a fair picture"
    return ContainerPage(
        id=container.id,
        name=container.name,
        subtitle=card.subtitle,
        first=_container_first(container),
        drawing=draw_tray(container),
        layout=layout,
        crops=tuple(
            (each.id, each.name) for each in catalog.crops.values() if container.id in each.cells_ok
        ),
        sections=_sections(card, currency),
        sources=card.sources,
        legend=LEGEND,
    )


def _reference(desk: Desk) -> tuple[Catalog, str]:
    """Return the reference under the house's own values, and the house's word for money."""
    with desk.book.reading() as unit:
        house, catalog, _ = house_of(unit)
    return catalog, house.prices.currency or MONEY_UNIT


def _usual(containers: list[Container]) -> Container:
    """Choose a container to begin with: the one nearest to a tray of 128 (assumption)."""
    return min(containers, key=lambda each: (not each.takes_mix, abs(each.cells - 128)))


def _germination_temp_c(crop: Crop) -> float:
    """Return the temperature at which handbooks let it germinate, else that of its test."""
    fact = crop.facts.get("germination_temp_c")
    value = None if fact is None else fact.value
    return float(value) if isinstance(value, int | float) else crop.germination_test_c


def _crop_words(crop: Crop) -> str:
    days = float(days_at_constant(_AT_C, crop.emergence))
    up = "not up at 20 °C" if isinf(days) else f"half up in {days:.0f} d at 20 °C"
    depth = "on the surface" if crop.depth_mm == 0 else f"{show_number(crop.depth_mm)} mm deep"
    return f"{crop.season.value}, {up}, {depth}, {show_number(crop.seeds_per_g)} seeds a gram"


def _container_words(container: Container) -> str:
    size = f"{container.outer_length_mm:.0f} x {container.outer_width_mm:.0f} mm"
    volume = f"{show_number(container.cell_volume_ml)} ml each"
    return f"{wording.count(container.cells, 'cell')}, {volume}, {size}"


def _crop_first(crop: Crop, temp_c: float) -> tuple[tuple[str, ...], ...]:
    low, high = crop.plants_per_cell
    plants = wording.count(high, "plant") if low == high else f"{low} to {high} plants"
    days = days_half_up(crop, temp_c)
    up = f"half up in {days}" if days[0].isdigit() else days
    light = {"light": "leave it in the light", "dark": "keep it dark"}
    depth = "on the surface" if crop.depth_mm == 0 else f"{show_number(crop.depth_mm)} mm"
    cover = "covered" if crop.cover else "left open"
    return (
        ("sow", depth, light.get(crop.light_need.value, cover)),
        ("seeds to a cell", f"{crop.seeds_per_cell}", f"for {plants}"),
        (
            "half up",
            up.removeprefix("half up "),
            f"at {wording.amount(round(temp_c, 1))} °C",
            f"/working/half-up?of={quote(f'{crop.id}/{temp_c:g}')}",
        ),
        ("not below", f"{crop.min_c:.0f} °C", "while it grows"),
        ("a gram", f"{show_number(crop.seeds_per_g)} seeds", ""),
    )


def _container_first(container: Container) -> tuple[tuple[str, ...], ...]:
    working = f"/working/container?of={quote(container.id)}"
    per_m2 = container.cells / container.area_m2
    liters = container.cells * container.cell_volume_ml / 1000.0
    mix = f"{wording.amount(round(liters, 1))} l" if container.takes_mix else "none"
    return (
        ("cells", f"{container.cells}", f"{show_number(container.cell_volume_ml)} ml each"),
        (
            "outside",
            f"{container.outer_length_mm:.0f} x {container.outer_width_mm:.0f} mm",
            f"{show_number(container.area_m2)} m²",
        ),
        ("to a square meter", f"{per_m2:,.0f} cells", "trays touching", working),
        (
            "mix to fill it",
            mix,
            "" if container.takes_mix else "it comes ready",
            working if container.takes_mix else "",
        ),
        ("comes back", "yes" if container.reusable else "no", ""),
    )


def _sections(card: Card, currency: str) -> tuple[ShownSection, ...]:
    numbers = {name: str(at) for at, (name, _) in enumerate(card.sources, start=1)}
    return tuple(
        ShownSection(
            each.title,
            tuple(_shown(row, numbers, currency) for row in each.rows),
            each.table,
            tuple(note for note in each.notes if not note.startswith(CROPS_NOTE)),
        )
        for each in card.sections
    )


def _cites(row: CardRow, numbers: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Part what a value rests on into the sources that are listed, and the rest."""
    ids = [each.strip() for each in row.source.split(";")]
    known = [each for each in ids if each in numbers]
    said = cited(row.source, row.basis)
    if not known:
        return ((said, ""),) if said else ()
    mark = said.removeprefix("; ".join(ids)).removeprefix(", ")
    others = [each for each in ids if each and each not in numbers]
    return (
        *((each, numbers[each]) for each in known),
        *((each, "") for each in (*others, mark) if each),
    )


def _shown(row: CardRow, numbers: Mapping[str, str], currency: str) -> ShownRow:
    """Put a value in the words of the page."""
    span = ""
    if row.low is not None and row.high is not None and row.low != row.high:
        span = f"{show_number(row.low)} to {show_number(row.high)}"
    unit = row.unit.replace("money", currency).replace("m2", "m²")
    return ShownRow(
        label=row.label,
        value=f"{row.value} {unit}".strip(),
        span="" if span == row.value else span,
        cites=_cites(row, numbers),
        note=row.note,
        others=row.others,
        disagree=row.disagree,
    )
