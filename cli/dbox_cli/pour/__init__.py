"""`dbox pour FILE`: the command and its text."""
