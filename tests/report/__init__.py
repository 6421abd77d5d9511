"""Tests of what results say."""
