"""Judging: is it inside the tolerance, and how sure is that."""

from rollwright.judge.verdict import State, Verdict, acceptance_limits, conformity, judge

__all__ = ["State", "Verdict", "acceptance_limits", "conformity", "judge"]
