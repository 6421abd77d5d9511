"""Tables that a spreadsheet has saved as CSV, read and written."""
