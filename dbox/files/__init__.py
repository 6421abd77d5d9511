"""The edge: what people write, read and typed, to and from SI objects."""
