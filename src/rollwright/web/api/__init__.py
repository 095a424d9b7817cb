"""The bench as data: what a page, a phone that was out of reach, or another program sends and asks."""
