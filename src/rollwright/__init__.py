"""Bench partner for builders of gravity-raced wooden block cars."""
