"""The invented demo club, and simulated cars, gauges and hands to try things on."""
