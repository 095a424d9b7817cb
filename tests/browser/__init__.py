"""Tests of the bench in a real browser."""
