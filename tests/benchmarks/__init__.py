"""Timings; only ratios within one run are reported."""
