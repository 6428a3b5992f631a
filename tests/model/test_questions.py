"""Is what only the owner of a log knows asked, and is it plain what an answer would mean?"""

import pytest

from model.evidence.mapping import CpuBase
from model.evidence.questions import consequence
from model.evidence.readings import look_at
from tests.model.logs import log_of


@pytest.mark.parametrize(
    ("base", "reading", "sentence"),
    [
        # Derived: by hand.
        (CpuBase(of="desktop", processors=2), 3, "3 % of 2 vCPU = 6 % of one core"),
        (CpuBase(of="host", processors=64), 3, "3 % of 64 threads = 192 % of one core"),
        (CpuBase(of="core"), 3, "3 % of one core = 0.03 cores"),
        (
            CpuBase(of="desktop", processors=2, unit="share"),
            0.5,
            "0.5 of 2 vCPU = 100 % of one core",
        ),
        (CpuBase(of="core", unit="ms_per_s"), 30, "30 ms a second of one core = 0.03 cores"),
    ],
)
def test_consequence_of_an_answer_is_told_in_words(base, reading, sentence):
    """The question about the percentage shows what each answer would mean."""
    assert consequence(base, reading) == sentence


def test_preview_asks_what_only_the_owner_knows():
    """Percentage of what, day or month, decimal comma or groups, and which word is on."""
    text = (
        b"time\tencoder cpu %\tcard\tthroughput\n"
        b"03/04/2026 10:00:00\t3,125\tA\t1\n03/04/2026 10:00:01\t4,250\tB\t1\n"
    )
    preview = look_at(text, desktop_vcpus=2)
    questions = {each.field: each for each in preview.questions}

    assert set(questions) == {"decimal", "time_format", "encode_base", "on_words"}
    # Derived: by hand.
    assert [each.consequence for each in questions["time_format"].choices] == [
        "03/04/2026 is 3 April",
        "03/04/2026 is 4 March",
    ]
    assert [each.consequence for each in questions["decimal"].choices] == [
        "3,125 is 3125",
        "3,125 is 3.125",
    ]
    for field in ("decimal", "time_format", "encode_base"):
        assert getattr(preview.proposed, field) is None
    looks = {each.name: each for each in preview.columns}
    assert looks["throughput"].meaning is None
    assert looks["encoder cpu %"].meaning == "encode_cores"
    assert looks["encoder cpu %"].reason == 'its name has "encod" and it holds numbers'


@pytest.mark.parametrize(
    ("column", "suggested"),
    [
        ("encoder_cpu_pct_of_one_core", ("core", "percent")),
        ("encoder cpu % of vCPUs", ("desktop", "percent")),
        ("encoder cpu [cores]", ("core", "share")),
        ("encoder cpu", None),
    ],
)
def test_base_is_suggested_by_the_name_but_still_asked(column, suggested):
    """A name that says what a percentage is of is quoted; the answer stays open."""
    preview = look_at(log_of("0,1", "1,2", header=f"t_s,{column}"))

    (question,) = preview.questions
    assert question.field == "encode_base"
    assert preview.proposed.encode_base is None
    given = question.suggested and (question.suggested["of"], question.suggested["unit"])
    assert given == suggested
