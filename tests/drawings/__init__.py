"""Checks of dbox.drawings."""
