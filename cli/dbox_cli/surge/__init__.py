"""`dbox surge FILE`: the command, its pictures and its text."""
