"""Lessons as text: what is typed, and what is handed on."""
