"""Checks of dbox.hydraulics."""
