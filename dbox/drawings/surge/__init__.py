"""A discharge on its way through box and trenches: a film, a still, and flows compared."""
