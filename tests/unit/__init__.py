"""Tests of one unit each; `cars` builds what they try things on."""
