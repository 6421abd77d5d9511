"""Tests of dbox.report."""
