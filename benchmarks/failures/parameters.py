"""What goes wrong in a season with failures planted, and what the house believes beside it.

Frozen: rates, crops and beliefs were settled before any rule of forecasting or resowing was tried
on them, and a test holds a hash of what they make. Every number is an assumption of this
benchmark, no finding. Paces of emergence are those of `reference/emergence.csv` as it stood then,
rounded: the house believes the first of its two values, the world follows the other one. Days of
growth and windows are those of its plug, or cube, in `reference/ready_rules.csv`.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CROPS", "PLACES", "Believed", "Crop", "Failures", "Hands", "Place"]


@dataclass(frozen=True, slots=True)
class Failures:
    """What the world does that the house does not expect.

    Attributes
    ----------
    bad_lot_frac : float
        Planted: lots that are much worse than their test, of all lots.
    bad_lot_low, bad_lot_high : float
        What is left of a bad lot's germination [fraction].
    cold_week_frac : float
        Planted: weeks in which the whole house stays cold, of all weeks.
    cold_low_c, cold_high_c : float
        By how much it is colder [°C].
    cold_rot_low, cold_rot_high : float
        Share of seed of a warm crop that rots where it lies in the mix in such a week; of a cool
        crop half of it.
    heater_fault_frac : float
        Planted: weeks with a fault of a place's heater, of all weeks of all places.
    fault_days_most : int
        A fault lasts from one day to so many [d].
    fault_low_c, fault_high_c : float
        Mean of the place on a day of a fault [°C].
    chill_low, chill_high : float
        Share of plants of a warm crop lost in a fault; of its seed in the mix half of it.
    lot_logit_sd : float
        Spread of every lot's germination about its test's posterior, in logits.
    in_tray_low, in_tray_high : float
        Emergence in the tray against the laboratory, by crop and season [fraction].
    kept_mean, kept_sd : float
        Share of right cells kept to handing over, by crop and season [fraction].
    late_d : float
        Seedlings that come later after their tray's median are of no use [d].
    rho_tray : float
        Correlation between cells of a tray [fraction].
    tray_pace_sd, sowing_pace_sd, crop_pace_sd : float
        Spread of the logarithm of time to emergence between trays, sowings, and crops' seasons.
    sowing_growth_sd, crop_growth_sd : float
        The same of days of growth.
    tray_loss_frac : float
        Trays lost one by one [fraction].
    outbreak_frac, outbreak_trays : float
        Weeks of a place with damping-off, and the share of trays that it takes of those that come
        up there in that week.
    season_shift_c, place_shift_c : float
        Standard deviations of what all places, and each, are off by all season [°C].
    day_sd_c, day_correlation : float
        Spread of a day's mean and its correlation with the day before [°C].
    """

    bad_lot_frac: float = 0.05
    bad_lot_low: float = 0.3
    bad_lot_high: float = 0.8
    cold_week_frac: float = 0.03
    cold_low_c: float = 4.0
    cold_high_c: float = 8.0
    cold_rot_low: float = 0.1
    cold_rot_high: float = 0.5
    heater_fault_frac: float = 0.01
    fault_days_most: int = 3
    fault_low_c: float = 3.0
    fault_high_c: float = 8.0
    chill_low: float = 0.2
    chill_high: float = 0.9
    lot_logit_sd: float = 0.2
    in_tray_low: float = 0.92
    in_tray_high: float = 0.98
    kept_mean: float = 0.93
    kept_sd: float = 0.015
    late_d: float = 4.0
    rho_tray: float = 0.03
    tray_pace_sd: float = 0.05
    sowing_pace_sd: float = 0.05
    crop_pace_sd: float = 0.08
    sowing_growth_sd: float = 0.04
    crop_growth_sd: float = 0.10
    tray_loss_frac: float = 0.004
    outbreak_frac: float = 0.015
    outbreak_trays: float = 0.15
    season_shift_c: float = 0.5
    place_shift_c: float = 0.4
    day_sd_c: float = 1.2
    day_correlation: float = 0.7


@dataclass(frozen=True, slots=True)
class Believed:
    """What the house plans with.

    Attributes
    ----------
    emergence_frac, kept_frac : float
        Emergence in the tray against the laboratory, share of right cells handed over [fraction].
    late_d : float
        Seedlings that come later after the median are of no use [d].
    rho_tray, tray_loss_frac : float
        Correlation between cells of a tray, and trays lost whole [fraction].
    sigma_growth : float
        Doubt about days of growth, as a standard deviation of the logarithm.
    season_spread_c : float
        Doubt about the season's temperature [°C].
    """

    emergence_frac: float = 0.95
    kept_frac: float = 0.931
    late_d: float = 3.0
    rho_tray: float = 0.015
    tray_loss_frac: float = 0.005
    sigma_growth: float = 0.12
    season_spread_c: float = 0.7


@dataclass(frozen=True, slots=True)
class Hands:
    """Room and hands for looking and resowing, the same for every rule.

    Attributes
    ----------
    room_trays : int
        Resown trays that can stand at once.
    resow_trays_a_day : int
        Trays resown on a work day at most.
    count_minutes_a_day : float
        Minutes for counts that a rule asks for, on a work day [min].
    minutes_a_visit, minutes_a_cell : float
        Of a count: walking to a tray and entering it, and looking at a cell [min].
    """

    room_trays: int = 40
    resow_trays_a_day: int = 10
    count_minutes_a_day: float = 40.0
    minutes_a_visit: float = 0.5
    minutes_a_cell: float = 0.012


@dataclass(frozen=True, slots=True)
class Place:
    """A place to grow in.

    Attributes
    ----------
    name : str
        Its name.
    start_c, rise_c : float
        Believed mean at the season's start, and its rise over 180 days [°C].
    """

    name: str
    start_c: float
    rise_c: float


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop as the house believes it, and the world's other pace.

    Attributes
    ----------
    name : str
        Its name.
    place : int
        Which place it grows in.
    base_c, optimum_c, thermal_time_cd : float
        Emergence as believed [°C], [°C d].
    sigma_seed, sigma_pace : float
        Spread between seeds, and believed doubt about the pace.
    other_base_c, other_thermal_time_cd : float
        Emergence as it is in the world.
    growth_base_c, growth_optimum_c, growth_d : float
        Growth: days at 18 °C from emergence to ready.
    window_d : float
        Days from ready to overgrown, holding included [d].
    cells_per_tray : int
        Cells of its tray.
    """

    name: str
    place: int
    base_c: float
    optimum_c: float
    thermal_time_cd: float
    sigma_seed: float
    sigma_pace: float
    other_base_c: float
    other_thermal_time_cd: float
    growth_base_c: float
    growth_optimum_c: float
    growth_d: float
    window_d: float
    cells_per_tray: int

    @property
    def warm(self) -> bool:
        """Whether chill kills it: crops that stand still below 8 °C or more."""
        return self.growth_base_c >= 8.0


PLACES: tuple[Place, ...] = (Place("warm house", 21.0, 2.0), Place("cool house", 17.0, 3.0))

# fmt: off
CROPS: tuple[Crop, ...] = (
    Crop("lettuce", 1, 2.7, 24.6, 47.5, 0.18, 0.22, 3.5, 71.0, 4.0, 24.0, 13.6, 10.6, 128),
    Crop("lettuce butterhead", 1, 2.7, 24.6, 47.5, 0.18, 0.26, 2.7, 52.3, 4.0, 24.0, 13.6, 10.6,
         128),
    Crop("pak choi", 1, 6.4, 29.0, 58.6, 0.18, 0.2, 1.4, 97.0, 3.0, 22.0, 13.6, 9.0, 128),
    Crop("mustard", 1, 2.6, 28.1, 77.1, 0.18, 0.2, 1.4, 97.0, 3.0, 22.0, 12.8, 9.0, 128),
    Crop("arugula", 1, 1.2, 29.5, 82.5, 0.18, 0.2, 1.8, 83.7, 3.0, 22.0, 17.0, 10.0, 128),
    Crop("cilantro", 1, 5.0, 20.0, 132.9, 0.18, 0.21, 5.0, 146.2, 4.0, 25.0, 17.9, 8.2, 128),
    Crop("basil", 0, 6.3, 25.0, 91.0, 0.18, 0.22, 6.3, 100.1, 11.0, 29.0, 16.7, 10.6, 72),
    Crop("cucumber", 0, 11.3, 29.4, 52.3, 0.18, 0.44, 12.7, 108.0, 11.0, 30.0, 35.3, 10.0, 72),
    Crop("cabbage", 1, 1.6, 29.9, 117.8, 0.18, 0.12, 1.0, 106.0, 3.0, 22.0, 31.9, 15.0, 128),
    Crop("broccoli", 1, 2.9, 26.7, 118.9, 0.18, 0.19, 1.6, 117.8, 0.0, 22.0, 31.5, 12.0, 128),
    Crop("tomato", 0, 7.6, 27.2, 106.9, 0.18, 0.12, 8.7, 88.0, 8.0, 27.0, 48.2, 15.0, 72),
    Crop("pepper", 0, 10.4, 26.3, 120.0, 0.18, 0.23, 10.9, 182.0, 9.0, 27.0, 64.3, 19.0, 128),
    Crop("onion", 1, 1.9, 26.3, 96.5, 0.18, 0.4, 1.4, 219.0, 0.0, 24.0, 64.4, 26.0, 288),
    Crop("celery", 0, 4.6, 21.1, 237.0, 0.22, 0.47, 2.8, 124.8, 3.0, 24.0, 56.4, 19.0, 288),
)
# fmt: on
