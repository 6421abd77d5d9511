"""Checks of dbox.fieldwork."""
