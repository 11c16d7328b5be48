"""The calculators behind `duskbell reckon`: options in, an `Answer` out; pure, and printing nothing."""

from __future__ import annotations

from controller.calculators.answer import Answer, Calculator, Detail, Given, Option, OptionsDisagree
from controller.calculators.table import CALCULATORS

__all__ = ["CALCULATORS", "Answer", "Calculator", "Detail", "Given", "Option", "OptionsDisagree"]
