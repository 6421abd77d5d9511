"""`dbox schema`: the JSON Schema of the scenario file."""


def command() -> None:
    """Print the JSON Schema of the scenario file."""
    from dbox.files.tables import schema
    from dbox_cli.output import print_json

    print_json(schema())
