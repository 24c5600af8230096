"""Revisions, in the order of their names."""
