"""Runs the command as `python -m dbox`."""

from importlib import import_module

# by name: the package itself must not depend on the command that stands on top of it
import_module("dbox_cli.main").run()
