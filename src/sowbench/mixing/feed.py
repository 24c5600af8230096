"""What to dissolve so that a feed holds what a stage wants, at the least cost.

Amounts are those of the finished feed, in mg/L, which are grams in a cubic meter. What the water
and the acid bring counts. Recipes of single salts come from a linear program, and are rounded to
what one can weigh by an integer one close to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sowbench.domain.mixing import NUTRIENTS, FeedTarget, Salt
from sowbench.science.errors import OutOfRangeError, SowbenchError
from sowbench.science.solutions import K_PER_K2O, P_PER_P2O5

Floats = NDArray[np.float64]

NITROGEN: Final = ("no3_n", "nh4_n", "urea_n")
WARM_N: Final = ("nh4_n", "urea_n")
"""Nitrogen that is ammonium, or becomes it."""

N_ALL: Final = "n"

LABELS: Final[Mapping[str, str]] = {
    "n": "nitrogen", "no3_n": "nitrate nitrogen", "nh4_n": "ammonium nitrogen",
    "urea_n": "urea nitrogen", "p": "phosphorus", "k": "potassium", "ca": "calcium",
    "mg": "magnesium", "s": "sulfur", "na": "sodium", "cl": "chloride", "fe": "iron",
    "mn": "manganese", "zn": "zinc", "cu": "copper", "b": "boron", "mo": "molybdenum",
    "ammonium share": "share of ammonium",
}  # fmt: skip

# A price of nothing would leave the choice of salts to chance: money a kilogram (assumption).
_PRICE_PER_KG: Final = 1.0
_ROUND_REACH: Final = 3
_SLACK_MG_L: Final = 1e-7


class NoRecipeError(SowbenchError, ValueError):
    """No amounts of the salts at hand meet the targets.

    Parameters
    ----------
    target : str
        Name of what was wanted.
    conflict : sequence of str
        Targets that cannot all be met; without any one of them the others could.
    """

    def __init__(self, target: str, conflict: Sequence[str]) -> None:
        super().__init__(target, tuple(conflict))
        self.target = target
        self.conflict = tuple(conflict)

    def __str__(self) -> str:
        """Return the message in the house's form."""
        if not self.conflict:
            return f"No salt is at hand for {self.target}; give some."
        words = "; ".join(self.conflict)
        return (
            f"No recipe of these salts meets {self.target}: these do not go together: {words}."
            " Widen one of them, or add a salt that brings the one without the other."
        )


@dataclass(frozen=True, slots=True)
class Product:
    """A ready-made fertilizer by its label.

    Attributes
    ----------
    name : str
        What the house calls it.
    content_frac : mapping of str to float
        Share by mass of each of `NUTRIENTS`.
    price_per_kg : float or None
        Price of a kilogram.
    """

    name: str
    content_frac: Mapping[str, float]
    price_per_kg: float | None = None


def product_of_label(
    name: str,
    n_percent: float,
    p2o5_percent: float,
    k2o_percent: float,
    *,
    nh4_percent: float = 0.0,
    urea_percent: float = 0.0,
    more_percent: Mapping[str, float] | None = None,
    price_per_kg: float | None = None,
) -> Product:
    """Read a ready-made fertilizer off its label.

    Parameters
    ----------
    name : str
        What the house calls it.
    n_percent, p2o5_percent, k2o_percent : float
        The three figures of its grade, as labels print them [%].
    nh4_percent, urea_percent : float, default 0.0
        Of the nitrogen, what is ammonium and what is urea, in percent of the product [%].
    more_percent : mapping of str to float or None, default None
        Other nutrients by our names, as elements [%].
    price_per_kg : float or None, default None
        Price of a kilogram.

    Returns
    -------
    product : Product
        With phosphate and potash turned into elements.

    Raises
    ------
    OutOfRangeError
        If a figure is below 0, the label adds up to more than 100 %, or more nitrogen is ammonium
        and urea than there is.
    """
    more = dict(more_percent or {})
    every = {
        "nitrogen": n_percent, "phosphate": p2o5_percent, "potash": k2o_percent,
        "ammonium": nh4_percent, "urea": urea_percent, **more,
    }  # fmt: skip
    for what, value in every.items():
        if not value >= 0.0:
            raise OutOfRangeError(f"{what} of {name}", "0 % or more", value)
    unknown = sorted(set(more) - set(NUTRIENTS))
    if unknown:
        rule = f"one of {', '.join(NUTRIENTS)}"
        raise OutOfRangeError(f"nutrient of {name}", rule, unknown[0])
    whole = n_percent + p2o5_percent + k2o_percent + sum(more.values())
    if whole > 100.0:
        rule = "at most 100 %: phosphate and potash as the label prints them, not as elements twice"
        raise OutOfRangeError(f"sum of the label of {name}", rule, f"{whole:g} %")
    if nh4_percent + urea_percent > n_percent + 1e-9:
        rule = f"at most {n_percent:g} %, all of its nitrogen"
        raise OutOfRangeError(f"ammonium and urea of {name}", rule, nh4_percent + urea_percent)
    content = {
        "no3_n": n_percent - nh4_percent - urea_percent,
        "nh4_n": nh4_percent,
        "urea_n": urea_percent,
        "p": p2o5_percent * P_PER_P2O5,
        "k": k2o_percent * K_PER_K2O,
    }
    for each, value in more.items():
        content[each] = content.get(each, 0.0) + value
    shares = {each: value / 100.0 for each, value in content.items() if value > 0.0}
    return Product(name, shares, price_per_kg)


def rate_for_nitrogen(product: Product, n_mg_l: float) -> float:
    """Return how much of a product gives so much nitrogen.

    Parameters
    ----------
    product : Product
        The product.
    n_mg_l : float
        Nitrogen wanted from it [mg/L].

    Returns
    -------
    rate_mg_l : float
        Product in the feed [mg/L], which is grams in a cubic meter.

    Raises
    ------
    OutOfRangeError
        If it holds no nitrogen, or a negative amount is wanted.
    """
    share = sum(product.content_frac.get(each, 0.0) for each in NITROGEN)
    if share <= 0.0:
        raise OutOfRangeError(f"nitrogen of {product.name}", "above 0 %", share)
    if not n_mg_l >= 0.0:
        raise OutOfRangeError("nitrogen wanted", "0 mg/L or more", n_mg_l)
    return n_mg_l / share


@dataclass(frozen=True, slots=True)
class Recipe:
    """What is dissolved in a feed, and what it then holds.

    Attributes
    ----------
    target : FeedTarget
        What was wanted.
    g_per_m3 : dict of str to float
        Of each salt or product [g/m3].
    mg_l : dict of str to float
        What the feed holds of each nutrient, water and acid counted [mg/L].
    from_water_mg_l : dict of str to float
        Of that, what water and acid bring [mg/L].
    cost_per_m3 : float
        Money for a cubic meter.
    least_cost_per_m3 : float
        The same before rounding.
    """

    target: FeedTarget
    g_per_m3: dict[str, float]
    mg_l: dict[str, float]
    from_water_mg_l: dict[str, float]
    cost_per_m3: float
    least_cost_per_m3: float

    @property
    def nitrogen_mg_l(self) -> float:
        """All nitrogen [mg/L]."""
        return sum(self.mg_l.get(each, 0.0) for each in NITROGEN)


@dataclass(frozen=True, slots=True)
class Chosen:
    """What a recipe may be made of.

    Attributes
    ----------
    salts : tuple of Salt
        Salts at hand.
    product : Product or None
        A ready-made product that goes in too.
    product_mg_l : float
        How much of it [mg/L].
    from_water_mg_l : mapping of str to float
        What water and acid bring [mg/L].
    step_g : mapping of str to float
        What one can weigh of each salt, in grams for the `batch_m3`; 0 or absent for exactly.
    batch_m3 : float
        Feed that one batch makes [m3]: tank volume times injector ratio.
    """

    salts: tuple[Salt, ...]
    product: Product | None = None
    product_mg_l: float = 0.0
    from_water_mg_l: Mapping[str, float] = field(default_factory=dict)
    step_g: Mapping[str, float] = field(default_factory=dict)
    batch_m3: float = 1.0


def recipe_for(target: FeedTarget, chosen: Chosen) -> Recipe:
    """Find the cheapest amounts of salts that meet a target.

    Parameters
    ----------
    target : FeedTarget
        What the feed should hold.
    chosen : Chosen
        What it may be made of.

    Returns
    -------
    recipe : Recipe
        Rounded to what one can weigh.

    Raises
    ------
    OutOfRangeError
        If a range or an amount makes no sense.
    NoRecipeError
        If no amounts do, with the targets that do not go together.
    """
    problem = _Problem(target, chosen)
    exact = problem.solved()
    if exact is None:
        raise NoRecipeError(target.name, problem.conflict())
    rounded = problem.rounded(exact)
    if rounded is None:
        worst = max(chosen.step_g.values(), default=0.0)
        raise NoRecipeError(
            target.name,
            [f"steps of {worst:g} g on the scale, too coarse for {chosen.batch_m3:g} m3 of feed"],
        )
    held = problem.held(rounded)
    amounts = {
        each.name: float(x) for each, x in zip(chosen.salts, rounded, strict=True) if x > 1e-9
    }
    extra = 0.0
    if chosen.product is not None and chosen.product_mg_l > 0.0:
        amounts[chosen.product.name] = chosen.product_mg_l
        extra = (chosen.product.price_per_kg or 0.0) * chosen.product_mg_l / 1000.0
    return Recipe(
        target,
        amounts,
        {name: float(value) for name, value in zip(NUTRIENTS, held, strict=True) if value > 1e-12},
        dict(chosen.from_water_mg_l),
        float(problem.cost @ rounded) + extra,
        float(problem.cost @ exact) + extra,
    )


class _Problem:
    """The linear program of one recipe: amounts x in mg/L, rows of nutrients within ranges."""

    def __init__(self, target: FeedTarget, chosen: Chosen) -> None:
        self.target, self.chosen = target, chosen
        _check(target, chosen)
        salts = chosen.salts
        self.content = np.array(
            [[each.content_frac.get(name, 0.0) for each in salts] for name in NUTRIENTS]
        ).reshape(len(NUTRIENTS), len(salts))
        prices = [each.price_per_kg for each in salts]
        self.cost = np.array([_PRICE_PER_KG if p is None else p for p in prices]) / 1000.0
        self.fixed = np.array([chosen.from_water_mg_l.get(name, 0.0) for name in NUTRIENTS])
        if chosen.product is not None:
            share = [chosen.product.content_frac.get(name, 0.0) for name in NUTRIENTS]
            self.fixed = self.fixed + chosen.product_mg_l * np.array(share)
        rows, lows, highs, names = [], [], [], []
        for name, (low, high) in target.mg_l.items():
            take = self._taken(name)
            rows.append(take @ self.content)
            base = float(take @ self.fixed)
            lows.append(low - base)
            highs.append(high - base)
            names.append(f"{LABELS[name]} {low:g} to {high:g} mg/L")
        warm = self._taken(*WARM_N) - target.nh4_most_frac * self._taken(N_ALL)
        rows.append(warm @ self.content)
        lows.append(-math.inf)
        highs.append(-float(warm @ self.fixed))
        names.append(f"at most {target.nh4_most_frac:.0%} of the nitrogen as ammonium and urea")
        self.rows = np.array(rows).reshape(len(rows), len(salts))
        self.lows, self.highs, self.names = np.array(lows), np.array(highs), names

    @staticmethod
    def _taken(*names: str) -> Floats:
        """Return which nutrients a target adds up."""
        wanted = {each for name in names for each in (NITROGEN if name == N_ALL else (name,))}
        return np.array([float(each in wanted) for each in NUTRIENTS])

    def held(self, amounts: Floats) -> Floats:
        """Return what the feed holds."""
        return self.fixed + self.content @ amounts

    def solved(self, keep: Sequence[int] | None = None) -> Floats | None:
        """Return the cheapest amounts; None if there are none."""
        at = list(range(len(self.names))) if keep is None else list(keep)
        return _linear(self.cost, self.rows[at], self.lows[at], self.highs[at])

    def conflict(self) -> list[str]:
        """Return targets of which no one can be left out of a contradiction.

        Each is tried once: what can be left out while the rest still contradict is left out
        (deletion filter, J. W. Chinneck, "Feasibility and infeasibility in optimization", 2008).
        """
        keep = list(range(len(self.names)))
        for row in list(keep):
            rest = [each for each in keep if each != row]
            if self.solved(rest) is None:
                keep = rest
        return [self.names[each] for each in keep]

    def rounded(self, exact: Floats) -> Floats | None:
        """Return amounts that one can weigh, close to the exact ones."""
        steps = np.array([
            self.chosen.step_g.get(each.name, 0.0) / self.chosen.batch_m3
            for each in self.chosen.salts
        ])  # fmt: skip
        weighed = steps > 0.0
        if not weighed.any():
            return exact
        near = np.where(weighed, np.round(exact / np.where(weighed, steps, 1.0)), exact)
        plain = np.where(weighed, near * steps, exact)
        if self.fits(plain):
            return plain
        scale = np.where(weighed, steps, 1.0)
        floor = np.maximum(np.floor(exact / scale) - _ROUND_REACH, 0.0)
        ceil = np.ceil(exact / scale) + _ROUND_REACH
        found = _linear(
            self.cost * scale,
            self.rows * scale,
            self.lows,
            self.highs,
            lower=np.where(weighed, floor, 0.0),
            upper=np.where(weighed, ceil, math.inf),
            whole=weighed,
        )
        if found is None:
            found = _linear(
                self.cost * scale, self.rows * scale, self.lows, self.highs, whole=weighed
            )
        return None if found is None else np.where(weighed, np.round(found), found) * scale

    def fits(self, amounts: Floats) -> bool:
        """Tell whether amounts meet all targets."""
        got = self.rows @ amounts
        slack = _SLACK_MG_L
        return bool(np.all(got >= self.lows - slack) and np.all(got <= self.highs + slack))


def _check(target: FeedTarget, chosen: Chosen) -> None:
    """Refuse ranges and amounts that make no sense."""
    for name, (low, high) in target.mg_l.items():
        if name != N_ALL and name not in NUTRIENTS:
            rule = f"n or one of {', '.join(NUTRIENTS)}"
            raise OutOfRangeError(f"nutrient of {target.name}", rule, name)
        if not 0.0 <= low <= high:
            rule = "0 or more, the lower figure first"
            raise OutOfRangeError(f"{LABELS[name]} of {target.name}", rule, (low, high))
    if not 0.0 <= target.nh4_most_frac <= 1.0:
        rule = "between 0 and 1"
        raise OutOfRangeError(f"nh4_most_frac of {target.name}", rule, target.nh4_most_frac)
    if not chosen.batch_m3 > 0.0:
        raise OutOfRangeError("batch_m3", "above 0 m3", chosen.batch_m3)
    if not chosen.product_mg_l >= 0.0:
        raise OutOfRangeError("product_mg_l", "0 mg/L or more", chosen.product_mg_l)
    for each in chosen.salts:
        if each.price_per_kg is not None and not each.price_per_kg >= 0.0:
            raise OutOfRangeError(f"price of {each.label}", "0 or more", each.price_per_kg)
    for name, amount in chosen.from_water_mg_l.items():
        if name in NUTRIENTS and not amount >= 0.0:
            raise OutOfRangeError(f"{LABELS[name]} of the water", "0 mg/L or more", amount)


def _linear(
    cost: Floats,
    rows: Floats,
    lows: Floats,
    highs: Floats,
    *,
    lower: Floats | None = None,
    upper: Floats | None = None,
    whole: NDArray[np.bool_] | None = None,
) -> Floats | None:
    """Solve a small linear or integer program on HiGHS; None if nothing meets it."""
    import highspy
    from highspy._core import _Highs  # its child prints a banner before it can be told not to

    n = cost.size
    if n == 0:
        return np.zeros(0) if np.all(lows <= 0.0) and np.all(highs >= 0.0) else None
    solver = _Highs()
    solver.setOptionValue("output_flag", "off")
    # HiGHS has one pool of threads a process and refuses a solver that wants another number of
    # them: the planner wants one.
    solver.setOptionValue("threads", 1)
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = n, rows.shape[0]
    model.col_cost_ = cost
    model.col_lower_ = np.zeros(n) if lower is None else lower
    model.col_upper_ = np.full(n, highspy.kHighsInf) if upper is None else upper
    model.row_lower_, model.row_upper_ = lows, highs
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    filled = rows != 0.0
    model.a_matrix_.start_ = np.concatenate([[0], np.cumsum(filled.sum(axis=1))])
    model.a_matrix_.index_ = np.nonzero(filled)[1]
    model.a_matrix_.value_ = rows[filled]
    if whole is not None:
        model.integrality_ = [
            highspy.HighsVarType.kInteger if each else highspy.HighsVarType.kContinuous
            for each in whole
        ]
        solver.setOptionValue("time_limit", 5.0)
    solver.passModel(model)
    solver.run()
    good = solver.getModelStatus() in {
        highspy.HighsModelStatus.kOptimal,
        highspy.HighsModelStatus.kTimeLimit,
    }
    if not good or not math.isfinite(solver.getInfo().objective_function_value):
        return None
    values = np.array(solver.getSolution().col_value)
    return np.maximum(values, 0.0) if values.size == n else None


def potential_acidity(mg_l: Mapping[str, float]) -> float:
    """Lime that a feed's reaction in the mix uses up.

    Parameters
    ----------
    mg_l : mapping of str to float
        What is dissolved, without what the water brought [mg/L].

    Returns
    -------
    acidity_mg_l : float
        Calcium carbonate for a liter of feed [mg/L]; below 0 it makes the mix more alkaline.

    References
    ----------
    .. [1] W. H. Pierre, "Determination of equivalent acidity and basicity of fertilizers",
       Industrial and Engineering Chemistry, Analytical Edition 5(4), 1933, 229-234 (convention
       from memory; reproduces printed tables within 8 %).
    """
    nitrogen = sum(mg_l.get(each, 0.0) for each in NITROGEN)
    acid = mg_l.get("s", 0.0) / 16.03 + mg_l.get("p", 0.0) / 30.97 + mg_l.get("cl", 0.0) / 35.45
    base = (
        mg_l.get("ca", 0.0) / 20.04
        + mg_l.get("mg", 0.0) / 12.15
        + mg_l.get("k", 0.0) / 39.10
        + mg_l.get("na", 0.0) / 22.99
    )
    return 1.785 * nitrogen + 50.04 * (acid - base)
