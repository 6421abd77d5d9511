"""What every command prints for the shipped scenarios and some odd ones, kept and compared."""
