"""How long things take: `tables` prints a hub's steps, whole years of `houses`, and a sweep."""
