"""What counts say of a sowing: usable plants, ready days, chances of its orders."""

from sowbench.forecasting.forecast import Forecasts, explain_movement, forecast_sowings
from sowbench.forecasting.records import (
    Cause,
    CellRule,
    DaySpread,
    ForecastParameters,
    LotTest,
    Movement,
    OpenOrder,
    OpenSowing,
    OrderForecast,
    Pace,
    SowingForecast,
)

__all__ = [
    "Cause",
    "CellRule",
    "DaySpread",
    "ForecastParameters",
    "Forecasts",
    "LotTest",
    "Movement",
    "OpenOrder",
    "OpenSowing",
    "OrderForecast",
    "Pace",
    "SowingForecast",
    "explain_movement",
    "forecast_sowings",
]
