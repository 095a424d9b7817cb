"""Tests of the bench in a browser, without one."""
