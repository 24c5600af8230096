"""Pages: house."""
