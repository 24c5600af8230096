"""Growing medium: volume of cells, mix to make up, bales to open, water to wet it.

Volumes of cells come from their geometry. Hardly any source gives the bottom width of a cell, so
it is inferred from the published opening, depth and volume; whoever shows it says so.
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sowbench.science.errors import OutOfRangeError

Floats = NDArray[np.float64]
Shape = Literal["square", "round"]

# Mix that is spilled, pressed in and left over, as a share of what the cells hold (assumption).
WASTE_FRAC: Final = 0.10
# Loose volume of a compressed bale of peat over its own volume: the trade's rule is 2 to 1; areas
# covered an inch deep, printed for bales of 3.8, 2.2 and 1 cubic foot, give 1.97, 1.89 and 2.00.
# Hand-broken bales give less (from memory): measure the first one.
BALE_EXPANSION: Final = 2.0
# Volume lost when components are mixed, as a share of their sum: 0.10 to 0.20, because the fines
# of one fill the pores of another (from memory); measure a trial batch.
SHRINKAGE_FRAC: Final = 0.15
# Water in loose peat as it is filled, by volume: 200 kg wet (J. Heiskanen, "Effect of sample
# handling on the water retention of growth peat substrate", Suo, 1990) less 100 kg dry matter in
# a cubic meter (University of Arkansas, Greenhouse Management Online, unit 7).
WATER_AS_FILLED_FRAC: Final = 0.10
# Water in mix ready to sow, by volume: the low end of the container capacity of peat in a pot of
# 4 inches, 0.60 to 0.68 (University of Arkansas, Greenhouse Management Online, unit 7); that one
# sows at container capacity is common practice.
WATER_TO_SOW_FRAC: Final = 0.60
# Water held by a soaked and drained carrier, as a share of its volume.
SOAKED_WATER_FRAC: Final[dict[str, float]] = {
    # Drained mineral wool is 5 % solid, 15 % air and 80 % water; at 10 cm of suction 0.86 was
    # measured (Water-air properties of a rockwool, Acta Agrophysica 10, 2007, 113-120).
    "wool": 0.80,
    # Foamed resin holds much water and little air when soaked (from memory).
    "foam": 0.90,
    # Sphagnum peat in a core of 7.6 cm (International Journal of Agronomy, 2012, 978528, table 1).
    "pellet": 0.87,
}


def frustum_volume(
    top_mm: ArrayLike, bottom_mm: ArrayLike, depth_mm: ArrayLike, shape: Shape = "square"
) -> Floats:
    """Volume of a cell that tapers evenly from top to bottom.

    Parameters
    ----------
    top_mm, bottom_mm : array_like, shape (...)
        Inner width, or diameter of a round cell, at top and bottom [mm].
    depth_mm : array_like, shape (...)
        Inner depth [mm].
    shape : {"square", "round"}, default "square"
        Outline of the cell.

    Returns
    -------
    volume_ml : ndarray, shape (...)
        Volume [mL].

    Raises
    ------
    OutOfRangeError
        If a length is negative or no number, or the shape is unknown.

    Notes
    -----
    ``V = h/3 (a^2 + a b + b^2)``, times pi/4 for a round cell, the
    frustum of any table of solids.

    Examples
    --------
    >>> round(float(frustum_volume(38, 20, 45)), 2)
    39.06
    """
    a, b, h = (
        _amount(name, value)
        for name, value in (("top_mm", top_mm), ("bottom_mm", bottom_mm), ("depth_mm", depth_mm))
    )
    return np.asarray(h / 3 * (a * a + a * b + b * b) * _outline(shape) / 1000)


def bottom_width_from_volume(
    top_mm: ArrayLike, depth_mm: ArrayLike, volume_ml: ArrayLike, shape: Shape = "square"
) -> Floats:
    """Bottom width that gives a cell of known opening and depth its published volume.

    Parameters
    ----------
    top_mm : array_like, shape (...)
        Inner width, or diameter, at the top [mm].
    depth_mm : array_like, shape (...)
        Inner depth [mm].
    volume_ml : array_like, shape (...)
        Published volume [mL].
    shape : {"square", "round"}, default "square"
        Outline of the cell.

    Returns
    -------
    bottom_mm : ndarray, shape (...)
        Width at the bottom [mm]; inferred, to be marked so.

    Raises
    ------
    OutOfRangeError
        If the volume is more than that of straight walls (3 % over is taken as rounding of the
        source) or less than that of a pyramid that ends in a point.

    Notes
    -----
    The positive root of ``b^2 + a b + a^2 - 3 V / h = 0``.

    Examples
    --------
    >>> round(float(bottom_width_from_volume(38, 45, 39.06)), 2)
    20.0
    """
    a, h = _amount("top_mm", top_mm), _amount("depth_mm", depth_mm)
    volume_mm3 = _amount("volume_ml", volume_ml) * 1000 / _outline(shape)
    straight, pointed = a * a * h, a * a * h / 3
    wrong = (volume_mm3 > 1.03 * straight) | (volume_mm3 < pointed) | (h == 0)
    if np.any(wrong):
        low, high = (
            np.broadcast_to(each, wrong.shape)[wrong].flat[0] for each in (pointed, straight)
        )
        scale = _outline(shape) / 1000
        raise OutOfRangeError(
            "volume_ml",
            f"between {low * scale:.1f} (a point) and {high * scale:.1f} mL (straight walls)",
            float(np.broadcast_to(volume_ml, wrong.shape)[wrong].flat[0]),
            "Opening, depth and volume are not of one cell.",
        )
    root = (-a + np.sqrt(np.maximum(12 * volume_mm3 / h - 3 * a * a, 0.0))) / 2
    return np.asarray(np.clip(root, 0.0, a))


def mix_volume_l(
    n_cells: ArrayLike, cell_volume_ml: ArrayLike, waste_frac: ArrayLike = WASTE_FRAC
) -> Floats:
    """Loose mix to fill cells.

    Parameters
    ----------
    n_cells : array_like, shape (...)
        Cells to fill.
    cell_volume_ml : array_like, shape (...)
        Volume of a cell [mL].
    waste_frac : array_like, shape (...), default 0.10
        Mix spilled, pressed in and left over, as a share of the cells' volume (assumption).

    Returns
    -------
    mix_l : ndarray, shape (...)
        Loose mix [L].

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> mix_volume_l(350, 4.7, 0.0).round(3).tolist()
    1.645
    """
    cells = _amount("n_cells", n_cells) * _amount("cell_volume_ml", cell_volume_ml)
    return np.asarray(cells / 1000 * (1 + _amount("waste_frac", waste_frac)))


def component_volumes_l(
    mix_l: ArrayLike, parts: ArrayLike, shrinkage_frac: float = SHRINKAGE_FRAC
) -> Floats:
    """Loose components to mix for a wanted volume of mix.

    Parameters
    ----------
    mix_l : array_like, shape (...)
        Mix wanted [L].
    parts : array_like, shape (P,)
        Parts by volume of each component, in any unit: (3, 1) is three to one.
    shrinkage_frac : float, default 0.15
        Volume lost on mixing, as a share of the components' sum (from memory).

    Returns
    -------
    component_l : ndarray, shape (..., P)
        Loose volume of each component [L].

    Raises
    ------
    OutOfRangeError
        If a value is negative, all parts are 0 or the shrinkage is 1 or more.

    Examples
    --------
    >>> component_volumes_l(85.0, [3, 1]).round(6).tolist()
    [75.0, 25.0]
    """
    if not 0 <= shrinkage_frac < 1:
        raise OutOfRangeError("shrinkage_frac", "from 0 to below 1", shrinkage_frac)
    each = _amount("parts", parts)
    if not each.sum() > 0:
        raise OutOfRangeError("parts", "above 0 in sum", float(each.sum()))
    total = _amount("mix_l", mix_l) / (1 - shrinkage_frac)
    return np.asarray(total[..., None] * (each / each.sum()))


def bale_loose_volume_l(bale_l: ArrayLike, expansion: ArrayLike = BALE_EXPANSION) -> Floats:
    """Loose volume that a compressed bale gives.

    Parameters
    ----------
    bale_l : array_like, shape (...)
        Volume of the bale as it is bought [L].
    expansion : array_like, shape (...), default 2.0
        Loose volume over bale volume, 1.89 to 2.00 in print.

    Returns
    -------
    loose_l : ndarray, shape (...)
        Loose volume [L].

    Raises
    ------
    OutOfRangeError
        If the volume is negative or the expansion is below 1.

    Examples
    --------
    >>> round(float(bale_loose_volume_l(107.6)), 1)
    215.2
    """
    ratio = _amount("expansion", expansion)
    if np.any(ratio < 1):
        raise OutOfRangeError("expansion", "1 or more", float(ratio.min()))
    return np.asarray(_amount("bale_l", bale_l) * ratio)


def bales_needed(
    loose_l: ArrayLike, bale_l: ArrayLike, expansion: ArrayLike = BALE_EXPANSION
) -> NDArray[np.int64]:
    """Whole bales to open for a loose volume.

    Parameters
    ----------
    loose_l : array_like, shape (...)
        Loose volume wanted [L].
    bale_l : array_like, shape (...)
        Volume of a bale as it is bought, above 0 [L].
    expansion : array_like, shape (...), default 2.0
        Loose volume over bale volume.

    Returns
    -------
    n_bales : ndarray of int, shape (...)
        Bales.

    Raises
    ------
    OutOfRangeError
        If a value is negative, the bale has no volume or the expansion is below 1.

    Examples
    --------
    >>> bales_needed([0.0, 215.2, 215.3], 107.6).tolist()
    [0, 1, 2]
    """
    each = bale_loose_volume_l(bale_l, expansion)
    if np.any(each == 0):
        raise OutOfRangeError("bale_l", "above 0 L", 0.0)
    # A millionth of a bale is rounding, not a reason to open another one.
    return np.ceil(_amount("loose_l", loose_l) / each - 1e-6).astype(np.int64)


def cover_layer_l(
    area_m2: ArrayLike, cover_mm: ArrayLike, waste_frac: ArrayLike = WASTE_FRAC
) -> Floats:
    """Vermiculite, sand or mix to cover seed evenly.

    Parameters
    ----------
    area_m2 : array_like, shape (...)
        Area covered: that of the trays, as a spreader covers walls too [m2].
    cover_mm : array_like, shape (...)
        Depth of the layer [mm].
    waste_frac : array_like, shape (...), default 0.10
        Share spilled (assumption).

    Returns
    -------
    cover_l : ndarray, shape (...)
        Loose volume [L]: a millimeter on a square meter is a liter.

    Raises
    ------
    OutOfRangeError
        If a value is negative or no number.

    Examples
    --------
    >>> cover_layer_l(2.0, 3.0, 0.0).tolist()
    6.0
    """
    layer = _amount("area_m2", area_m2) * _amount("cover_mm", cover_mm)
    return np.asarray(layer * (1 + _amount("waste_frac", waste_frac)))


def water_to_wet_up_l(
    mix_l: ArrayLike,
    from_water_frac: ArrayLike = WATER_AS_FILLED_FRAC,
    to_water_frac: ArrayLike = WATER_TO_SOW_FRAC,
) -> Floats:
    """Water that brings mix from the bale to the moisture at which one sows.

    Parameters
    ----------
    mix_l : array_like, shape (...)
        Loose mix [L].
    from_water_frac : array_like, shape (...), default 0.10
        Water in it, by volume [fraction].
    to_water_frac : array_like, shape (...), default 0.60
        Water wanted, by volume [fraction].

    Returns
    -------
    water_l : ndarray, shape (...)
        Water to add, 0 where it is wet enough [L]; what runs through comes on top.

    Raises
    ------
    OutOfRangeError
        If a volume is negative or a share is outside 0 to 1.

    Examples
    --------
    >>> water_to_wet_up_l(100.0, 0.10, 0.60).tolist()
    50.0
    """
    shares = []
    for name, value in (("from_water_frac", from_water_frac), ("to_water_frac", to_water_frac)):
        share = _amount(name, value)
        if np.any(share > 1):
            raise OutOfRangeError(name, "a fraction from 0 to 1", float(share.max()))
        shares.append(share)
    return np.asarray(_amount("mix_l", mix_l) * np.maximum(shares[1] - shares[0], 0.0))


def pellet_volume_ml(diameter_mm: ArrayLike, height_mm: ArrayLike) -> Floats:
    """Volume of a peat pellet once it has swollen.

    Parameters
    ----------
    diameter_mm : array_like, shape (...)
        Diameter, which hardly changes [mm].
    height_mm : array_like, shape (...)
        Height when swollen [mm].

    Returns
    -------
    volume_ml : ndarray, shape (...)
        Volume of the cylinder [mL].

    Raises
    ------
    OutOfRangeError
        If a length is negative or no number.

    Examples
    --------
    >>> round(float(pellet_volume_ml(42, 40)), 1)
    55.4
    """
    return frustum_volume(diameter_mm, diameter_mm, height_mm, "round")


def soak_water_l(n_units: ArrayLike, unit_volume_ml: ArrayLike, water_frac: ArrayLike) -> Floats:
    """Water that cubes, blocks or pellets take up when they are soaked dry.

    Parameters
    ----------
    n_units : array_like, shape (...)
        Cubes, blocks or pellets.
    unit_volume_ml : array_like, shape (...)
        Volume of one, swollen [mL].
    water_frac : array_like, shape (...)
        Water held after draining, by volume; `SOAKED_WATER_FRAC` has it by kind [fraction].

    Returns
    -------
    water_l : ndarray, shape (...)
        Water taken up [L]; the bath needs more, so that they stand in it.

    Raises
    ------
    OutOfRangeError
        If a value is negative or the share is above 1.

    Examples
    --------
    >>> round(float(soak_water_l(200, 24, SOAKED_WATER_FRAC["wool"])), 2)
    3.84
    """
    share = _amount("water_frac", water_frac)
    if np.any(share > 1):
        raise OutOfRangeError("water_frac", "a fraction from 0 to 1", float(share.max()))
    volume_ml = _amount("n_units", n_units) * _amount("unit_volume_ml", unit_volume_ml)
    return np.asarray(volume_ml / 1000 * share)


def _outline(shape: str) -> float:
    """Area of the outline over that of the square around it."""
    if shape not in {"square", "round"}:
        raise OutOfRangeError("shape", "'square' or 'round'", shape)
    return 1.0 if shape == "square" else np.pi / 4


def _amount(name: str, value: ArrayLike) -> Floats:
    """Return a quantity as an array, or say that it is negative or no number."""
    values = np.asarray(value, dtype=np.float64)
    bad = ~(values >= 0)
    if np.any(bad):
        raise OutOfRangeError(name, "0 or more", float(values[bad].flat[0]))
    return values
