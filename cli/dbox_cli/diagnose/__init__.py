"""`dbox diagnose FILE`: the command, its questions and its text."""
