"""The pages of the house book."""
