"""Regression: the demo club's fit files are what its forward model makes from its seed, digit by digit."""

from __future__ import annotations

import pytest

from rollwright.scenario.club import file_text
from rollwright.scenario.timed import COAST, RUNS, fit_texts


@pytest.mark.parametrize("name", [COAST, RUNS])
def test_a_fit_file_is_what_the_forward_model_makes(name: str) -> None:
    assert file_text(name) == fit_texts()[name]
