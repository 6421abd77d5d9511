"""Checks of the package; they mirror its folders."""
