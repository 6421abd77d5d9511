"""A discharge at one site: what stands before and behind the box, run and judged."""
