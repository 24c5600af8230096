"""Pages: begin."""
