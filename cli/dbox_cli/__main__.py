"""Runs the command as `python -m dbox_cli`."""

from dbox_cli.main import run

run()
