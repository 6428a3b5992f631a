"""How does a result become plain JSON data?"""

import dataclasses
import math
from typing import Any

import numpy as np


def plain_data(value: Any) -> Any:
    """Return a result as plain JSON data; None stands for what is undefined or infinite.

    Parameters
    ----------
    value : object
        Records, mappings, lists, arrays, numbers and texts, one within the other.
    """
    if dataclasses.is_dataclass(value):
        fields = [each.name for each in dataclasses.fields(value)]
        return {name: plain_data(getattr(value, name)) for name in fields}
    if isinstance(value, dict):
        return {str(name): plain_data(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_data(each) for each in value]
    if isinstance(value, (np.ndarray, np.generic)):
        return plain_data(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
