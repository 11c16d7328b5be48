"""What a meal becomes, hours later."""

from dataclasses import dataclass
from math import exp


@dataclass(slots=True)
class Gut:
    """Two stomachs in turn, so that what leaves the second follows a gamma curve of shape 2.

    Attributes
    ----------
    first_g, second_g : float
        Feed in each. [g]
    """

    first_g: float = 0.0
    second_g: float = 0.0

    def eat(self, grams: float) -> None:
        """Take a meal, at least 0 [g]."""
        self.first_g += grams

    def digest(self, passed: float) -> float:
        """Feed that leaves in a step [g]; the flow peaks one time constant after a meal.

        Parameters
        ----------
        passed : float
            Length of the step over the time constant of one stomach. [1]
        """
        first, second = self.first_g, self.second_g
        left = exp(-passed)
        self.first_g = first * left
        self.second_g = (second + first * passed) * left
        return first + second - self.first_g - self.second_g
