"""`dbox setup FILE`: the command, its questions, its talk and its text."""
