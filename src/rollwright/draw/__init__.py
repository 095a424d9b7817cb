"""Drawings: what is drawn as data, the car's views, true-scale gauges and sheets, a writer per format."""
