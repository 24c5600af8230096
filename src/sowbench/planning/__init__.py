"""From orders to a plan: problem, candidates, choice and bound."""
