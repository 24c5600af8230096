"""What the house has learned, and how good its forecasts were."""
