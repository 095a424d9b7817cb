"""The command line: parse, call the workbench, show."""

from rollwright.cli.app import main

__all__ = ["main"]
