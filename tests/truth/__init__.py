"""Answers known from outside the package."""
