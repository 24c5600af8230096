"""Pages: handbook."""
