"""The kinds of array that the rooms hand on."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Temperatures = NDArray[np.float64]
Days = NDArray[np.datetime64]
