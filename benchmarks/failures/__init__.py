"""A season with failures planted: who sees them coming in time to resow."""
