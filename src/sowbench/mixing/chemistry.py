"""Solution chemistry by PHREEQC: pH, alkalinity, conductivity, what would fall out.

Only here is the engine named. Every question is one *initial solution*: totals of all elements with
the charge balance giving the pH. No reaction step is used, because those bring all of an element
into one redox equilibrium and turn nitrate into nitrogen gas. The database is `phreeqc.dat`, in
which ammonium is N(-3) and nitrate N(5), kept apart in an initial solution; a test sees to it that
every element that is put in comes back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from threading import Lock, local
from typing import TYPE_CHECKING, Any, Final

from sowbench.science.errors import OutOfRangeError, SowbenchError

if TYPE_CHECKING:
    from types import TracebackType
    from typing import Self

DATABASE: Final = "phreeqc.dat"
"""The engine's own database [1]_ of aqueous reactions at usual temperatures.

.. [1] D. L. Parkhurst, C. A. J. Appelo, "Description of input and examples for PHREEQC version 3",
   U.S. Geological Survey Techniques and Methods 6-A43, 2013.
"""

AIR_CO2_LOG_ATM: Final = -3.4
"""Carbon dioxide of the open air, logarithm of atmospheres (common practice; about 400 ppm)."""

# Our names to the engine's master species; boron and silicon as it knows them.
_ELEMENTS: Final[Mapping[str, str]] = {
    "ca": "Ca", "mg": "Mg", "na": "Na", "k": "K", "nh4_n": "N(-3)", "no3_n": "N(5)", "cl": "Cl",
    "s": "S(6)", "p": "P", "b": "B", "fe": "Fe(3)", "mn": "Mn(2)", "zn": "Zn", "cu": "Cu(2)",
    "f": "F", "si": "Si", "citrate": "Citr",
}  # fmt: skip

# Solids that fall out of feed and stock. Those of the database go by their own name; constants of
# the others stand beside them.
_SOLIDS: Final[Mapping[str, str]] = {
    "gypsum": "Gypsum",
    "calcite": "Calcite",
    "brushite": "Brushite_",
    "arcanite": "Arcanite_",
    "struvite": "Struvite_",
}
SOLID_LABELS: Final[Mapping[str, str]] = {
    "gypsum": "gypsum (calcium sulfate)",
    "calcite": "lime (calcium carbonate)",
    "brushite": "calcium phosphate",
    "arcanite": "potassium sulfate",
    "struvite": "magnesium ammonium phosphate",
}
_PHASES: Final = """
SOLUTION_MASTER_SPECIES
Citr  Citr-3  0  Citr  189.10
SOLUTION_SPECIES     # citric acid, pKa 3.13, 4.76 and 6.40 at 25 °C (from memory)
Citr-3 = Citr-3
    log_k 0
Citr-3 + H+ = HCitr-2
    log_k 6.40
Citr-3 + 2H+ = H2Citr-
    log_k 11.16
Citr-3 + 3H+ = H3Citr
    log_k 14.29
Citr-3 + Ca+2 = CaCitr-
    log_k 4.9        # from memory
Citr-3 + Mg+2 = MgCitr-
    log_k 4.9        # from memory
PHASES
Brushite_
    CaHPO4:2H2O = Ca+2 + HPO4-2 + 2H2O
    log_k -6.60      # Ca + H + PO4, -18.995 (from memory), less HPO4 = H + PO4, -12.35
Arcanite_
    K2SO4 = 2K+ + SO4-2
    log_k -1.776     # from memory
Struvite_
    MgNH4PO4:6H2O = Mg+2 + NH4+ + PO4-3 + 6H2O
    log_k -13.26     # Ohlinger and others 1998 (from memory)
END
"""
_PUNCHED: Final = ('-LA("H+")', "SC", "ALK", 'TOT("C")', 'MOL("CO2")', "MU", "RHO")
_TEMP_C: Final = (0.0, 50.0)
# The engine's activity model is indicative above this ionic strength [mol/kg].
TRUSTED_STRENGTH_MOL_KG: Final = 0.7


class ChemistryError(SowbenchError, RuntimeError):
    """The engine is not there, or cannot solve what it was asked.

    Parameters
    ----------
    message : str
        What is wrong and what to do.
    """


@dataclass(frozen=True, slots=True)
class Solution:
    """What is dissolved, as the engine is asked.

    Attributes
    ----------
    mmol_kg : mapping of str to float
        Amounts by our names [mmol/kg water]; "s" is sulfate, "p" all phosphate.
    carbon_mmol_kg : float or None
        All inorganic carbon [mmol/kg water]; None if `alkalinity_meq_kg` or the air gives it.
    alkalinity_meq_kg : float or None
        Alkalinity [meq/kg water], where the pH is measured; needs `ph`.
    ph : float or None
        Measured pH; None lets the charges give it.
    co2_log_atm : float or None
        Carbon dioxide that it stands open to; None is a closed bottle.
    temp_c : float
        Temperature [°C].
    """

    mmol_kg: Mapping[str, float] = field(default_factory=dict)
    carbon_mmol_kg: float | None = None
    alkalinity_meq_kg: float | None = None
    ph: float | None = None
    co2_log_atm: float | None = None
    temp_c: float = 25.0


@dataclass(frozen=True, slots=True)
class State:
    """What the engine says of a solution.

    Attributes
    ----------
    ph : float
        pH.
    ec_ms_cm : float
        Conductivity at the solution's temperature [mS/cm].
    alkalinity_meq_kg : float
        Alkalinity [meq/kg water]; below 0 where acid is left over.
    carbon_mmol_kg, co2_mmol_kg : float
        All inorganic carbon, and dissolved carbon dioxide [mmol/kg water].
    strength_mol_kg : float
        Ionic strength [mol/kg water].
    density_kg_l : float
        Density [kg/L].
    saturation : mapping of str to float
        Saturation index of each solid whose elements are there; above 0 it falls out.
    mmol_kg : mapping of str to float
        What came back of what was put in [mmol/kg water].
    """

    ph: float
    ec_ms_cm: float
    alkalinity_meq_kg: float
    carbon_mmol_kg: float
    co2_mmol_kg: float
    strength_mol_kg: float
    density_kg_l: float
    saturation: Mapping[str, float]
    mmol_kg: Mapping[str, float]

    @property
    def falls_out(self) -> tuple[str, ...]:
        """Solids that are over-saturated, the worst first."""
        over = [(index, name) for name, index in self.saturation.items() if index > 0.0]
        return tuple(name for _, name in sorted(over, reverse=True))

    @property
    def trusted(self) -> bool:
        """Whether its ionic strength is within what the activity model is for."""
        return self.strength_mol_kg <= TRUSTED_STRENGTH_MOL_KG


class Engine:
    """One running chemistry engine; not to be shared between threads.

    Raises
    ------
    ChemistryError
        If the engine is not installed for this machine.
    """

    def __init__(self) -> None:
        try:
            from phreeqpython import PhreeqPython

            self._engine: Any = PhreeqPython(database=DATABASE)
        except (ImportError, OSError) as error:
            raise ChemistryError(
                "The chemistry engine does not run on this machine: its library is built for"
                f" 64-bit x86 processors ({error}). Figures that need no chemistry still work."
            ) from error
        self._engine.ip.run_string(_PHASES + _output())

    def __enter__(self) -> Self:
        """Use it for a while."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End it."""
        self.close()

    def close(self) -> None:
        """Give its memory back."""
        self._engine.ip.destroy_iphreeqc()

    def solve(self, solutions: Sequence[Solution]) -> tuple[State, ...]:
        """Solve any number of solutions in one go.

        Parameters
        ----------
        solutions : sequence of Solution
            What is dissolved.

        Returns
        -------
        states : tuple of State
            In the same order.

        Raises
        ------
        ChemistryError
            If one of them has no solution; it is named by its place.
        OutOfRangeError
            If an amount is below 0, a name is unknown to the engine, or a temperature is out of
            its range.
        """
        if not solutions:
            return ()
        text = "".join(_asked(at, each) for at, each in enumerate(solutions, start=1))
        try:
            self._engine.ip.run_string(text)
            rows = self._engine.ip.get_selected_output_array()[1:]
        except Exception as error:
            raise ChemistryError(f"The chemistry engine finds no solution: {error}") from error
        if len(rows) != len(solutions):
            raise ChemistryError(
                f"The chemistry engine solved {len(rows)} of {len(solutions)} solutions; look at"
                " the amounts of the next."
            )
        return tuple(_state(row, each) for row, each in zip(rows, solutions, strict=True))


def _output() -> str:
    """Say what the engine should tell."""
    asked = [*_PUNCHED]
    asked += [f'SI("{name}")' for name in _SOLIDS.values()]
    asked += [f'TOT("{name}")' for name in _ELEMENTS.values()]
    heads = " ".join(f"c{at}" for at in range(len(asked)))
    return (
        f"SELECTED_OUTPUT 1\n-reset false\nUSER_PUNCH 1\n-headings {heads}\n-start\n"
        f"10 PUNCH {', '.join(asked)}\n-end\nEND\n"
    )


def _asked(at: int, solution: Solution) -> str:
    """Write one question."""
    low, high = _TEMP_C
    if not low <= solution.temp_c <= high:
        rule = f"between {low:g} and {high:g} °C"
        raise OutOfRangeError("temp_c", rule, solution.temp_c)
    lines = [f"SOLUTION {at}", "units mmol/kgw", f"temp {solution.temp_c:.6g}"]
    amounts = dict(solution.mmol_kg)
    for name, amount in amounts.items():
        if name not in _ELEMENTS:
            rule = f"one of {', '.join(_ELEMENTS)}"
            raise OutOfRangeError("name of what is dissolved", rule, name)
        if not amount >= 0.0:
            raise OutOfRangeError(name, "0 mmol/kg or more", amount)
    if solution.alkalinity_meq_kg is not None:
        if solution.ph is None:
            raise OutOfRangeError("ph", "given with an alkalinity", solution.ph)
        lines += [f"pH {solution.ph:.8g}", f"Alkalinity {solution.alkalinity_meq_kg:.10g}"]
    elif solution.ph is not None:
        lines.append(f"pH {solution.ph:.8g}")
    else:
        lines.append("pH 7 charge")
    if solution.co2_log_atm is not None:
        lines.append(f"C(4) 1 CO2(g) {solution.co2_log_atm:.6g}")
    elif solution.carbon_mmol_kg is not None and solution.carbon_mmol_kg > 0.0:
        lines.append(f"C(4) {solution.carbon_mmol_kg:.10g}")
    lines += [
        f"{_ELEMENTS[name]} {amount:.10g}" for name, amount in amounts.items() if amount > 0.0
    ]
    return "\n".join(lines) + "\nEND\n"


def _state(row: Sequence[float], solution: Solution) -> State:
    """Read one answer."""
    ph, conductivity, alkalinity, carbon, co2, strength, density = row[: len(_PUNCHED)]
    at = len(_PUNCHED)
    indices = dict(zip(_SOLIDS, row[at : at + len(_SOLIDS)], strict=True))
    totals = dict(zip(_ELEMENTS, row[at + len(_SOLIDS) : at + len(_SOLIDS) + len(_ELEMENTS)],
                      strict=True))  # fmt: skip
    return State(
        ph=float(ph),
        ec_ms_cm=float(conductivity) / 1000.0,
        alkalinity_meq_kg=float(alkalinity) * 1000.0,
        carbon_mmol_kg=float(carbon) * 1000.0,
        co2_mmol_kg=float(co2) * 1000.0,
        strength_mol_kg=float(strength),
        density_kg_l=float(density),
        saturation={name: float(index) for name, index in indices.items() if index > -99.0},
        mmol_kg={name: float(totals[name]) * 1000.0 for name in solution.mmol_kg},
    )


_own = local()
_starting = Lock()


def engine() -> Engine:
    """Return the engine of this thread, started when it is first asked for.

    Returns
    -------
    engine : Engine
        One for each thread.

    Raises
    ------
    ChemistryError
        If it does not run on this machine.
    """
    found: Engine | None = getattr(_own, "engine", None)
    if found is None:
        with _starting:
            found = _own.engine = Engine()
    return found


def solve(solutions: Iterable[Solution]) -> tuple[State, ...]:
    """Solve solutions with the engine of this thread.

    Parameters
    ----------
    solutions : iterable of Solution
        What is dissolved.

    Returns
    -------
    states : tuple of State
        In the same order.

    Raises
    ------
    ChemistryError
        If the engine does not run, or one has no solution.
    """
    return engine().solve(tuple(solutions))
