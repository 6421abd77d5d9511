"""The `dbox` command: each module reads arguments, calls dbox once and prints."""
