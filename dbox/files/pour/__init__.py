"""Pour tests as text: their table, command line and results."""
