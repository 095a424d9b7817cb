"""Stance, drift and rail: pure functions of a car."""

from rollwright.geometry.stance import Drift, Stance, StationStance, camber_of, stance, steer_of

__all__ = ["Drift", "Stance", "StationStance", "camber_of", "stance", "steer_of"]
