"""Small logs written in a test, and the mapping that reads them."""

import pytest

from model.errors import MeasurementError
from model.evidence.mapping import CpuBase, Mapping
from model.evidence.readings import read_log

CORE = CpuBase(of="core")
SECONDS = Mapping(time="t", time_format="elapsed_s", encode_cores="enc", encode_base=CORE)


def log_of(*rows, header="t,enc"):
    """Return a comma-separated log as bytes."""
    return "\n".join([header, *rows, ""]).encode()


def refusal(source, mapping=SECONDS):
    """Return the error with which a log is refused."""
    with pytest.raises(MeasurementError) as caught:
        read_log(source, mapping)
    return caught.value
