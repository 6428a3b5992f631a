"""What should each of many viewers have seen? Worked out from the model, in other processes."""

import hashlib
import re
from typing import Any

from app import labels, words
from app.answers import answer_text
from model.assess import assess
from model.hosts import ARMS
from model.scenario import canonical, load

_MODEL_MS = re.compile(r'"model_ms": [0-9.]+, ')


def expected(lane: str, scenario_text: str) -> dict[str, Any]:
    """Return what an answer to a question holds, as tests/speed/viewers.py writes it down.

    Sentence and headroom come straight from the model, the digest from the page's own answer,
    worked out without a server, a cache or others who ask.
    """
    scenario = load(scenario_text)
    text = answer_text(lane, canonical(scenario), "light", None)
    found: dict[str, Any] = {
        "digest": hashlib.sha256(_MODEL_MS.sub("", text).encode()).hexdigest()
    }  # fmt: skip
    if lane == "curve":
        answer = assess(scenario)
        found["sentence"] = words.answer_sentence(answer)
        found["headroom"] = [
            labels.value("headroom_pct", answer.now[arm]["headroom_pct"])
            for arm in ARMS
        ]  # fmt: skip
    return found
