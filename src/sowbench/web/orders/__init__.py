"""Pages: orders."""
