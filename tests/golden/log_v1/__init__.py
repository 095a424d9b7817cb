"""The log of the first version, kept as it was written."""
