"""Checks against outside sources; each names its source beside the number."""
