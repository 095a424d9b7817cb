"""setup."""
