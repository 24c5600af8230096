"""Migrations of the tables, one revision a change; store/schema.py runs them."""
