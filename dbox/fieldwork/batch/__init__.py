"""Many boxes at once: their shares, verdicts and turns as arrays, boxes by outlets."""
