"""Scenario files shipped with the package, all of them invented; read them with any text editor."""
