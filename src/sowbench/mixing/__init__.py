"""Water, acid, feed and tanks: what to mix, checked by a chemistry engine."""
