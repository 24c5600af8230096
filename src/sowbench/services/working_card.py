"""Workings of the handbook and of places: days to half up, sizes worked out, light and warmth."""

from __future__ import annotations

from datetime import date, timedelta
from math import isinf
from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.science.emergence import days_at_constant, thermal_rate
from sowbench.science.errors import UnknownNameError
from sowbench.science.medium import Shape, frustum_volume
from sowbench.science.weather_year import day_of_common_year
from sowbench.services import wording
from sowbench.services.place_climates import years_of_places
from sowbench.services.working import (
    HOUSE,
    WORKED_OUT,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    citations,
    reference_input,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sowbench.domain.records import Fact, House
    from sowbench.reference.catalog import Catalog
    from sowbench.science.weather_year import WeatherYear

_DAYS_OF_CHART: Final = (10.0, 15.0, 20.0, 25.0, 30.0)


def half_up_working(of: str, catalog: Catalog) -> Working:
    """Show in how many days half of a crop is up at a temperature.

    Parameters
    ----------
    of : str
        Crop and temperature of the mix [°C], as "lettuce/22.5".
    catalog : Catalog
        The reference with the house's own values.

    Returns
    -------
    working : Working
        Thermal time over what a day at that temperature gives.

    Raises
    ------
    UnknownNameError
        If there is no such crop, or the temperature is no number.
    """
    name, _, text = of.partition("/")
    crop = catalog.crops.get(name)
    if crop is None:
        raise UnknownNameError.among(name, "crop", catalog.crops)
    try:
        temp_c = float(text)
        days = float(days_at_constant(temp_c, crop.emergence))
    except ValueError as error:
        raise UnknownNameError(text, "temperature of the mix") from error
    rate = float(thermal_rate(temp_c, crop.emergence))
    facts = crop.facts
    inputs = (
        Input("mix", amount(temp_c), "°C", "", YOURS),
        reference_input(facts, "emergence.base_c", "nothing moves below"),
        reference_input(facts, "emergence.optimum_low_c", "fastest from"),
        reference_input(facts, "emergence.optimum_high_c", "fastest to"),
        reference_input(facts, "emergence.ceiling_c", "nothing moves above"),
        reference_input(facts, "emergence.thermal_time_cd", "thermal time to the middle seed"),
    )
    shown = tuple(each for each in inputs if each.value != "not given")
    here = "does not come up" if isinf(days) else f"{wording.amount(round(days, 1))} d"
    thermal = crop.emergence.thermal_time_cd
    lines = [
        Line(
            "What a day at this temperature gives: its degrees above the base, full up to the "
            "optimum, less above it and nothing from the ceiling on.",
            f"rate({amount(temp_c)} °C)",
            f"{rate:.2f} °C d a day",
        ),
        Line("Days until the middle seed is up.", f"{thermal:.1f} / {rate:.2f}", here),
    ]
    if len(shown) > 1:
        others = ", ".join(
            f"{wording.amount(round(each, 1))} d at {temp:.0f} °C"
            for temp in _DAYS_OF_CHART
            if not isinf(each := float(days_at_constant(temp, crop.emergence)))
        )
        lines.append(Line(f"At other temperatures: {others}."))
    return Working(
        "Half up",
        f"{crop.name} at {amount(temp_c)} °C",
        here,
        shown,
        tuple(lines),
        days,
        sources=citations(shown, catalog),
        where="docs/model.md, section 3",
    )


def container_working(name: str, catalog: Catalog) -> Working:
    """Show how the sizes of a container that no source prints follow from those it does.

    Parameters
    ----------
    name : str
        The container.
    catalog : Catalog
        The reference with the house's own values.

    Returns
    -------
    working : Working
        Area, cells a square meter, mix to fill it, and the volume of a cell by its sides.

    Raises
    ------
    UnknownNameError
        If there is no such container.
    """
    found = catalog.containers.get(name)
    if found is None:
        raise UnknownNameError.among(name, "container", catalog.containers)
    facts = found.facts
    inputs = tuple(
        each
        for each in (
            reference_input(facts, key, words)
            for key, words in (
                ("outer_length_mm", "outer length"),
                ("outer_width_mm", "outer width"),
                ("cells", "cells"),
                ("cell_volume_ml", "volume of one"),
                ("cell_shape", "shape"),
                ("cell_top_mm", "width at the top"),
                ("cell_bottom_mm", "width at the bottom"),
                ("depth_mm", "depth"),
            )
        )
        if each.value != "not given"
    )
    lines = []
    length, width = _number(facts, "outer_length_mm"), _number(facts, "outer_width_mm")
    if length and width:
        area = length * width / 1e6
        lines += [
            Line("Area that one takes.", f"{length:g} mm x {width:g} mm", f"{area:.3f} m²"),
            Line("Cells to a square meter, trays touching.", f"{found.cells} / {area:.3f}",
                 f"{found.cells / area:,.0f}"),
        ]  # fmt: skip
    full = found.cells * found.cell_volume_ml / 1000.0
    if found.takes_mix:
        lines.append(
            Line("Mix to fill one, before it settles.",
                 f"{found.cells} x {found.cell_volume_ml:g} ml", f"{full:.2f} l")
        )  # fmt: skip
    top, bottom = _number(facts, "cell_top_mm"), _number(facts, "cell_bottom_mm")
    depth = _number(facts, "depth_mm")
    shape = facts.get("cell_shape")
    if top and bottom and depth and shape is not None:
        outline: Shape = "round" if shape.value == "round" else "square"
        volume = float(frustum_volume(top, bottom, depth, outline))
        bottom_fact = facts["cell_bottom_mm"]
        lines.append(
            Line(
                "Volume of a cell that tapers evenly from its opening to its bottom"
                + (f"; {bottom_fact.why}." if bottom_fact.why else "."),
                f"{top:g} mm to {bottom:g} mm, {depth:g} mm deep",
                f"{volume:.1f} ml",
            )
        )
    return Working(
        "Sizes of a container",
        found.name,
        f"{full:.2f} l of mix" if found.takes_mix else wording.count(found.cells, "cell"),
        inputs,
        tuple(lines),
        full,
        sources=citations(inputs, catalog),
        where="docs/model.md, section 10",
    )


def _number(facts: Mapping[str, Fact], key: str) -> float:
    """Return a value of a card; 0 where it has none."""
    fact = facts.get(key)
    return float(fact.value) if fact is not None and isinstance(fact.value, int | float) else 0.0


def climate_working(
    house: House, weather: WeatherYear | None, catalog: Catalog, name: str, day: date
) -> Working:
    """Show how warm and bright a place is in a week.

    Parameters
    ----------
    house : House
        The house.
    weather : WeatherYear or None
        Its weather.
    catalog : Catalog
        The reference, for citations.
    name : str
        The place.
    day : date
        A day of the week.

    Returns
    -------
    working : Working
        Day by day: mean, coldest and warmest hour, and light at the plants.

    Raises
    ------
    UnknownNameError
        If there is no such place.
    """
    place = next((each for each in house.places if each.name == name), None)
    if place is None:
        raise UnknownNameError.among(name, "place", [each.name for each in house.places])
    year = years_of_places(house, weather)[name]
    monday = day - timedelta(days=day.weekday())
    week = [monday + timedelta(days=at) for at in range(7)]
    at = np.array([day_of_common_year(each) for each in week])
    mean, light = float(year.mean_c[at].mean()), float(year.dli_mol_m2_d[at].mean())
    lines = [
        Line(
            f"{wording.day(each)}: mean, coldest and warmest hour, light at the plants.",
            "",
            f"{year.mean_c[n]:.1f} °C, {year.low_c[n]:.0f} to {year.high_c[n]:.0f} °C, "
            f"{year.dli_mol_m2_d[n]:.1f} mol m⁻²",
        )
        for each, n in zip(week, at, strict=True)
    ]
    lines += [
        Line("Mean of the week; its coldest and warmest hour.", "mean, least, most",
             f"{mean:.0f} °C, {year.low_c[at].min():.0f} to {year.high_c[at].max():.0f} °C"),
        Line("Coldest hour of a cold year (one in ten is colder).", "",
             f"{year.coldest_c[at].min():.0f} °C"),
        Line("Light: the sun's photons x what the cover lets through, and lamps.", "mean",
             f"{light:.1f} mol m⁻² a day"),
        *(Line(f"Taken for granted: {each}.") for each in year.assumptions),
    ]  # fmt: skip
    inputs = [
        Input("weather", house.weather_file or "none given", "", "typical year by the hour",
              YOURS if house.weather_file else WORKED_OUT),
        Input("spread of seasons", amount(house.weather_spread_c), "°C", "a week's mean", HOUSE),
    ]  # fmt: skip
    for words, value, unit in (
        ("held at", place.temp_c, "°C"),
        ("heated to, by day", place.heat_day_c, "°C"),
        ("heated to, by night", place.heat_night_c, "°C"),
        ("vented above", place.vent_c, "°C"),
        ("cover lets through", place.cover_par_frac, "of the light"),
        ("lamps", place.lamp_ppfd_umol_m2_s or None, "µmol m⁻² s⁻¹"),
        ("lamps burn", place.lamp_h or None, "h"),
    ):
        if value is not None:
            inputs.append(Input(words, amount(float(value)), unit, "house file", HOUSE))
    given = tuple(inputs)
    return Working(
        "Climate of a place",
        f"{name}, week of {wording.span(monday, monday + timedelta(days=6))}",
        f"{mean:.0f} °C on average, {light:.1f} mol m⁻² a day",
        given,
        tuple(lines),
        mean,
        sources=citations(given, catalog),
        where="docs/model.md, section 2",
    )
