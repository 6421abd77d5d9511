"""Printable sheets: forms, records and inspections as PDF pages."""
