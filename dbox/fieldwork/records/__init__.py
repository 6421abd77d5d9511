"""What was read, poured, seen and noted at one site, in SI: records, nothing here computes."""
