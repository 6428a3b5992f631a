"""Does the page say plainly whether its quick answers agree with the exact ones?"""

import json

from app.answers import answer_text
from app.words_check import check_sentence
from model.scenario import default, dump
from model.self_check import Comparison, SelfCheck


def test_agreement_is_one_short_sentence():
    """Where all is well the page says so, with the largest difference."""
    close = SelfCheck((Comparison("software", 77, "usual", "stretch", 1.01, 1.0),))

    assert check_sentence(close) == (
        "Self-check: the quick calculation agrees with the exact one within 1.0 %."
    )
    assert check_sentence(SelfCheck(())) == ""


def test_disagreement_names_value_arm_and_both_numbers():
    """A warning says which value, where, and what it is by both roads."""
    apart = SelfCheck((Comparison("offloaded", 17, "busy", "wait_pct", 1.3608, 1.1261),))

    assert check_sentence(apart) == (
        "Take care: for these inputs the quick calculation is more than 3 % off. Scheduler wait "
        "at busy moments with the card, at 17 sessions, is 1.4 % by the quick calculation that "
        "the charts show and 1.1 % by the exact one."
    )


def test_lane_answers_with_the_sentence():
    """The page's lane for the self-check answers with its sentence alone."""
    answer = json.loads(answer_text("check", dump(default()), "light", None))

    assert answer["agrees"] is True
    assert answer["texts"]["self-check"].startswith("Self-check: the quick calculation agrees")
    assert "figures" not in answer
