"""Recompute every rule and every figure of a plan without the planner."""
