"""Results in, matplotlib figures out; nothing here computes."""
