"""What a cricket does: species values with their sources, development, laying, survival, growth.

Every constant stands in `species.toml`, with its 90 % range, unit, source and mark. Functions named after a law
(`degree_day_rate`, `weibull_survival`) take plain numbers; functions named after a quantity of the animal
(`nymph_rate_per_day`, `nymph_mass_mg`) take a `Species` as their last argument. All are pure and broadcast.

Stages are told by *clocks*: the integral over time of the stage's rate at the temperature of the place. A clock of 1
means that the average individual has finished the stage.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
"""An array of numbers, as every function of this room returns it (a scalar in gives a zero-dimensional one out)."""
