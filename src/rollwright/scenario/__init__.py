"""scenario."""
