"""Does a log come back as it was written, and is nothing left out in silence?"""

import datetime as dt
import gzip
import pickle
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.errors import InputError, MeasurementError
from model.evidence import table
from model.evidence.log_text import Upload
from model.evidence.mapping import CpuBase, Mapping, mapping_from
from model.evidence.readings import look_at, read_log
from model.evidence.record import Finding
from tests.model.logs import CORE, SECONDS, log_of, refusal

DATED = SECONDS.model_copy(update={"time_format": "iso"})
START = dt.datetime(2026, 3, 4, 9, 15, 58)


def found(log, action):
    """Return the findings of one kind as (reason, column, rows)."""
    findings = [each for each in log.report.findings if each.action == action]
    return [(each.reason, each.column, each.rows.tolist()) for each in findings]


# How each notation writes second number s of a log, for the round trip.
WRITTEN = {
    "iso": lambda s: (START + dt.timedelta(seconds=s)).isoformat(),
    "iso with zone": lambda s: (START + dt.timedelta(seconds=s)).isoformat(" ") + "+01:00",
    "iso with Z": lambda s: (START + dt.timedelta(seconds=s)).strftime("%Y-%m-%dT%H:%M:%S.250Z"),
    "year first with slashes": lambda s: (START + dt.timedelta(seconds=s)).strftime(
        "%Y/%m/%d %H:%M:%S"
    ),
    "day_first": lambda s: (START + dt.timedelta(seconds=s)).strftime("%d.%m.%Y %H:%M:%S"),
    "day_first in words": lambda s: (START + dt.timedelta(seconds=s)).strftime("%d-%b-%Y %H:%M:%S"),
    "month_first": lambda s: (START + dt.timedelta(seconds=s)).strftime("%m/%d/%Y %I:%M:%S %p"),
    "month_first with two digits": lambda s: (START + dt.timedelta(seconds=s)).strftime(
        "%m/%d/%y %H:%M:%S.5"
    ),
    "clock": lambda s: (START + dt.timedelta(seconds=s)).strftime("%H:%M:%S"),
    "epoch_s": lambda s: str(1_772_615_758 + s),
    "epoch_ms": lambda s: str((1_772_615_758 + s) * 1000),
    "elapsed_s": lambda s: str(s),
    "elapsed_ms": lambda s: str(1000 * s),
}
FORMATS = {name: name.split()[0] for name in WRITTEN} | {"year first with slashes": "iso"}
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"]


@st.composite
def drawn_logs(draw):
    """Draw a log as bytes, the mapping that reads it, and what it holds."""
    rows = draw(st.integers(2, 12))
    steps = draw(st.lists(st.integers(1, 30), min_size=rows - 1, max_size=rows - 1))
    seconds = np.concatenate([[0], np.cumsum(steps)]).astype(int)
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = "." if separator == "," else draw(st.sampled_from([".", ","]))
    # Hundredths, as loggers write them; None is an empty cell.
    hundredths = st.one_of(st.integers(0, 20_000), st.none())
    values = draw(st.lists(hundredths, min_size=rows, max_size=rows))
    on = draw(st.lists(st.sampled_from(["on", "off"]), min_size=rows, max_size=rows))
    activity = draw(
        st.lists(
            st.sampled_from(["typing", 'the "big" film', "Fähre; a, b|c", "two\nlines"]),
            min_size=rows,
            max_size=rows,
        )
    )
    written = draw(st.sampled_from(sorted(WRITTEN)))
    cells = [["when", "enc", "card on", "doing"]]
    if draw(st.booleans()):
        cells.append(["", "%", "", ""] if any(each is not None for each in values) else [])
    for row in range(rows):
        value = "" if values[row] is None else f"{values[row] / 100:.2f}".replace(".", decimal)
        cells.append([WRITTEN[written](int(seconds[row])), value, on[row], activity[row]])
    quote_all = draw(st.booleans())
    end = draw(st.sampled_from(["\n", "\r\n"]))
    text = end.join(
        separator.join(_quoted(cell, separator, quote_all) for cell in row) for row in cells if row
    )
    text += draw(st.sampled_from(["", end]))
    content = text.encode(draw(st.sampled_from(ENCODINGS)))
    if draw(st.booleans()):
        content = gzip.compress(content)
    mapping = Mapping(
        time="when",
        time_format=FORMATS[written],
        encode_cores="enc",
        encode_base=CORE,
        offload="card on",
        activity="doing",
        decimal=decimal,
    )
    return content, mapping, seconds, values, on, activity


def _quoted(cell, separator, always):
    if always or any(each in cell for each in ('"', separator, "\n")):
        return '"' + cell.replace('"', '""') + '"'
    return cell


@settings(max_examples=300, deadline=None)
@given(drawn_logs())
def test_log_comes_back_as_it_was_written(drawn):
    """Separator, decimal sign, encoding, notation of time, quotes and gzip do not matter."""
    content, mapping, seconds, values, on, activity = drawn
    log = read_log(content, mapping)

    # Derived: what was written. A reading in per cent of one core is a hundredth of a core.
    np.testing.assert_allclose(log.time_s, seconds, rtol=0, atol=1e-6)
    expected = [np.nan if each is None else each / 10_000 for each in values]
    np.testing.assert_allclose(log.columns["encode_cores"], expected, rtol=1e-14)
    assert log.offload.tolist() == [int(each == "on") for each in on]
    assert log.activity == tuple(activity)
    assert found(log, "dropped") == []
    assert sum(len(rows) for _, _, rows in found(log, "emptied")) == values.count(None)


@settings(max_examples=120, deadline=None)
@given(drawn_logs())
def test_proposal_reads_the_log_once_its_questions_are_answered(drawn):
    """What is proposed, and the answers, are enough to read the same log."""
    content, mapping, seconds, *_ = drawn
    preview = look_at(content)
    answers = {each.field: getattr(mapping, each.field, None) for each in preview.questions}
    answers |= {"encode_cores": "enc", "encode_base": CORE}
    if preview.proposed.time is None:
        answers |= {"time": "when"}
    answers.setdefault("time_format", mapping.time_format)

    log = read_log(content, preview.proposed.model_copy(update=answers))
    np.testing.assert_allclose(log.time_s, seconds, rtol=0, atol=1e-6)


def test_start_is_told_with_its_zone():
    """A zone in the log is kept as world time; without one the time stays local."""
    zoned = read_log(log_of("2026-03-04T09:15:00+01:00,1", "2026-03-04T09:15:01+01:00,1"), DATED)
    local = read_log(log_of("2026-03-04 09:15:00.5,1", "2026-03-04 09:15:01,1"), DATED)

    # Derived: an hour is taken off.
    assert zoned.start == "2026-03-04T08:15:00Z"
    assert local.start == "2026-03-04T09:15:00.500000"
    assert read_log(log_of("5,1", "6,1"), SECONDS).start is None


def test_date_and_time_may_stand_in_two_columns():
    """A date beside a time of day is joined to it."""
    mapping = DATED.model_copy(update={"date": "d", "time_format": "day_first"})
    log = read_log(
        log_of("04/03/2026,23:59:59,1", "05/03/2026,00:00:01,1", header="d,t,enc"), mapping
    )

    assert log.start == "2026-03-04T23:59:59"
    assert log.time_s.tolist() == [0, 2]


def test_time_of_day_goes_on_past_midnight():
    """A log of times without a date gets a day more at midnight, and says so."""
    mapping = SECONDS.model_copy(update={"time_format": "clock"})
    log = read_log(log_of("23:59:58,1", "23:59:59,1", "00:00:00,1", "00:00:01,1"), mapping)

    assert log.time_s.tolist() == [0, 1, 2, 3]
    ((_, _, rows),) = found(log, "repaired")
    assert rows == [4]


def test_titles_remarks_and_units_above_the_readings_are_passed():
    """Rows above the header and a row of units are no readings; rows count from the file's top."""
    lines = [
        "Trial of a desktop",
        "",
        "# made up",
        "t;enc;fps",
        "[s];[%];[1/s]",
        "0;1,5;25",
        "1;x;25",
    ]
    lines += ["2;2,5;25"] + [f"{n};2,5;25" for n in range(3, 12)]
    text = "\n".join(lines).encode()
    preview = look_at(text)

    assert (preview.layout.header_row, preview.layout.units_row) == (4, 5)
    assert preview.layout.units == ("[s]", "[%]", "[1/s]")
    assert preview.first_rows[0] == ("0", "1,5", "25")
    assert preview.proposed.time_format == "elapsed_s"
    log = read_log(text, SECONDS)
    assert found(log, "emptied") == [("not a number", "enc", [7])]
    assert log.report.layout == (
        "UTF-8, separated by semicolons, decimal comma, header in row 4, units in row 5"
    )


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("t,enc\n0,1\n1,2\n", ("t", "enc")),
        ("#t,enc\n0,1\n1,2\n", ("t", "enc")),
        ("# made up, by hand\nt,enc\n0,1\n1,2\n", ("t", "enc")),
        ("#t,enc\n[s],[%]\n0,1\n1,2\n", ("t", "enc")),
        ("sep=;\nt;enc\n0;1\n1;2\n", ("t", "enc")),
        ('t, "enc, all"\n0, 1\n1, 2\n', ("t", "enc, all")),
        ("t,enc,enc\n0,1,2\n1,2,3\n", ("t", "enc", "enc (2)")),
        ("t,enc,\n0,1,\n1,2,\n", ("t", "enc", "column 3")),
        ("t\tenc\n0\t1,5\n1\t2,5\n", ("t", "enc")),
        ("Film; 2 parts\nt,enc\n0,1\n1,2\n2,3\n", ("t", "enc")),
    ],
)
def test_header_is_found_among_titles_and_remarks(text, names):
    """Names come from the row above the readings, made unique, whatever stands before it."""
    assert look_at(text.encode()).layout.names == names


def test_log_without_a_header_has_numbered_columns():
    """A log that begins with readings is read by the place of its columns."""
    mapping = SECONDS.model_copy(update={"time": "column 1", "encode_cores": "column 2"})
    log = read_log(b"0,10\n1,20\n", mapping)

    assert log.columns["encode_cores"].tolist() == [0.1, 0.2]


def test_log_without_times_is_read_by_its_step():
    """Rows a known time apart need no column of times, and the report says what that hides."""
    mapping = SECONDS.model_copy(update={"time": None, "time_format": None, "step_s": 0.5})
    log = read_log(b"enc\n10\n20\n30\n", mapping)

    assert log.time_s.tolist() == [0, 0.5, 1]
    assert "gaps cannot be seen" in found(log, "noted")[0][0]


@pytest.mark.parametrize(
    ("base", "reading", "cores"),
    [
        # Derived: by hand.
        (CpuBase(of="core"), "3", 0.03),
        (CpuBase(of="desktop", processors=2), "3", 0.06),
        (CpuBase(of="host", processors=64), "3", 1.92),
        (CpuBase(of="core", unit="share"), "0.03", 0.03),
        (CpuBase(of="desktop", processors=4, unit="share"), "0.03", 0.12),
        (CpuBase(of="core", unit="ms_per_s"), "30", 0.03),
    ],
)
def test_cpu_is_turned_into_cores_by_its_base(base, reading, cores):
    """The answer to what a percentage is of decides how many cores a reading stands for."""
    mapping = SECONDS.model_copy(update={"encode_base": base})
    log = read_log(log_of(f"0,{reading}", f"1,{reading}"), mapping)

    assert log.columns["encode_cores"].tolist() == pytest.approx([cores, cores], rel=1e-15)


def test_readings_that_contradict_the_answer_are_flagged():
    """A reading above 100 % of what was answered is kept and flagged with its row."""
    mapping = SECONDS.model_copy(update={"encode_base": CpuBase(of="desktop", processors=2)})
    log = read_log(log_of("0,40", "1,130", "2,100", "3,20"), mapping)

    ((reason, column, rows),) = found(log, "contradicts")
    assert (column, rows) == ("enc", [3])
    assert "25 % of the readings are above 100 % of 2 vCPUs, which cannot be" in reason
    assert log.columns["encode_cores"][1] == pytest.approx(2.6)
    assert found(log, "noted") == [
        ("at the most there can be; the reading may be cut off", "enc", [4])
    ]


def test_one_core_with_more_than_100_pct_asks_how_many():
    """Several cores added up are no contradiction once their number is given."""
    text = log_of("0,40", "1,130")
    asked = read_log(text, SECONDS)
    answered = SECONDS.model_copy(update={"encode_base": CpuBase(of="core", processors=4)})

    assert "say how many" in found(asked, "contradicts")[0][0]
    assert found(read_log(text, answered), "contradicts") == []


def test_encoder_above_the_whole_desktop_is_flagged():
    """A part that is greater than the whole shows that one of two answers is wrong."""
    mapping = SECONDS.model_copy(
        update={
            "cpu_cores": "all",
            "cpu_base": CORE,
            "encode_base": CpuBase(of="host", processors=8),
        }
    )
    log = read_log(log_of("0,40,50", "1,30,50", "2,20,50", header="t,enc,all"), mapping)

    assert [rows for _, column, rows in found(log, "contradicts") if column == "enc"] == [[2, 3, 4]]


def test_shares_read_as_percentages_are_flagged():
    """Readings that never pass 1 % look like shares of one."""
    log = read_log(log_of("0,0.4", "1,0.7"), SECONDS)

    assert "shares of one" in found(log, "contradicts")[0][0]


NASTY = [f"{n},{n}" for n in range(2, 30)]


@pytest.mark.parametrize(
    ("rows", "action", "expected"),
    [
        (
            ["0,0", "1,1,1", "1,1", *NASTY],
            "dropped",
            [("3 cells where the header has 2", None, [3])],
        ),
        (["0,0", "1", "1,1", *NASTY], "dropped", [("1 cell where the header has 2", None, [3])]),
        (["0,0", "1,1,", *NASTY], "repaired", [("a separator too many at the end", None, [3])]),
        (["0,0", "", "1,1", *NASTY], "noted", [("blank", None, [3])]),
        (["0,0", "  ", "1,1", *NASTY], "dropped", [("blank but for spaces", None, [3])]),
        (["0,0", "1,1", "1,1", *NASTY], "dropped", [("the same time as the row before", "t", [4])]),
        (["0,0", "1,1", "0.5,1", *NASTY], "dropped", [("the time goes back", "t", [4])]),
        (
            ["0,0", "900,1", "1,1", *NASTY],
            "dropped",
            [("the time jumps ahead of the rows after it", "t", [3])],
        ),
        (["0,0", "soon,1", "1,1", *NASTY], "dropped", [("the time cannot be read", "t", [3])]),
        (["0,0", ",1", "1,1", *NASTY], "dropped", [("the time cannot be read", "t", [3])]),
        (["0,0", "1,n/a", *NASTY], "emptied", [("the cell is empty", "enc", [3])]),
        (["0,0", "1,", *NASTY], "emptied", [("the cell is empty", "enc", [3])]),
        (["0,0", "1,fast", *NASTY], "emptied", [("not a number", "enc", [3])]),
        (["0,0", "1,inf", *NASTY], "emptied", [("not finite", "enc", [3])]),
        (["0,0", "1,1e999", *NASTY], "emptied", [("not finite", "enc", [3])]),
        (["0,0", "1,-2", *NASTY], "emptied", [("below zero", "enc", [3])]),
        (["0,0", "1,1 %", *NASTY], "repaired", [("a percent sign behind the number", "enc", [3])]),
        (["0,0", '1,"1,024"', *NASTY], "repaired", [("digits in groups of three", "enc", [3])]),
        (
            ["0,0", "1,1", *NASTY, "40,1"],
            "noted",
            [("a gap before it (10 s missing in all); nothing is filled in", "t", [32])],
        ),
        (
            ["0,0", "1,1", *NASTY, "30"],
            "dropped",
            [("1 cell where the header has 2; the last row seems to be cut short", None, [32])],
        ),
    ],
)
def test_each_fault_is_told_with_its_row(rows, action, expected):
    """What is dropped, emptied, repaired or noted is listed with its reason and its row."""
    text = log_of(*rows).rstrip(b"\n")
    mapping = SECONDS.model_copy(update={"decimal": "."})
    log = read_log(text, mapping)

    assert found(log, action) == expected
    others = [each for each in log.report.findings if each.action not in (action, "contradicts")]
    assert others == []
    filled = sum(1 for row in rows if row)
    assert log.report.rows_read == filled
    assert log.report.rows_kept == filled - sum(len(rows) for _, _, rows in found(log, "dropped"))
    assert (np.diff(log.time_s) > 0).all()


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0, 1e6), min_size=2, max_size=8))
def test_many_digits_are_kept(values):
    """A number with as many digits as a float has comes back to the last of them or nearly so."""
    log = read_log(log_of(*(f"{n},{value!r}" for n, value in enumerate(values))), SECONDS)

    # Derived: what was written, over 100. The fast reader may be off in the last digits.
    expected = [value / 100 for value in values]
    assert log.columns["encode_cores"].tolist() == pytest.approx(expected, rel=1e-14, abs=1e-300)


def test_decimal_sign_that_shows_late_is_asked_about():
    """Where the first rows hold whole numbers only, a later comma is not taken for a fault."""
    text = "t;enc\n" + "".join(f"{n};{n % 7}\n" for n in range(1200)) + "1200;1,5\n"
    error = refusal(text.encode())

    assert (error.row, error.column) == (1202, "enc")
    answered = SECONDS.model_copy(update={"decimal": ","})
    assert read_log(text.encode(), answered).columns["encode_cores"][-1] == 0.015
    other = SECONDS.model_copy(update={"decimal": "."})
    assert found(read_log(text.encode(), other), "emptied") == [
        ("the other decimal sign", "enc", [1202])
    ]


def test_newest_row_first_is_turned_round():
    """A log that runs backwards throughout is turned round, and says so."""
    log = read_log(log_of("3,4", "2,3", "1,2", "0,1"), SECONDS)

    assert log.columns["encode_cores"].tolist() == [0.01, 0.02, 0.03, 0.04]
    assert found(log, "repaired")[0][2] == [2, 3, 4, 5]


def test_hour_that_comes_twice_is_asked_about():
    """Where a clock was put back, reading waits for the answer and then follows it."""
    times = [f"2026-10-25 02:{m:02d}:00,1" for m in range(50, 60)]
    times += [f"2026-10-25 02:{m:02d}:00,2" for m in range(60)]
    text = log_of(*times)
    error = refusal(text, DATED)

    assert error.log == "mapping.clock_change"
    assert "row 12 of log is an hour earlier" in str(error)
    follows = read_log(text, DATED.model_copy(update={"clock_change": "second_hour_follows"}))
    assert follows.rows == 70
    assert np.diff(follows.time_s).tolist() == [60] * 69
    dropped = read_log(text, DATED.model_copy(update={"clock_change": "drop_second_hour"}))
    assert dropped.rows == 10
    # Derived: the second 2 o'clock hour, the last row of which repeats the last time kept.
    assert found(dropped, "dropped") == [
        ("the time goes back", "t", list(range(12, 71))),
        ("the same time as the row before", "t", [71]),
    ]


@pytest.mark.parametrize(
    ("text", "mapping", "row", "column", "told"),
    [
        (log_of("0,a", "1,b"), SECONDS, 2, "enc", "a number with a decimal point"),
        (log_of("later,1", "soon,2"), SECONDS, 2, "t", "a number"),
        (log_of("2026-13-45,1", "x,2"), DATED, 2, "t", "be read"),
        (log_of("0,1", "0,1", "1,1", "1,1"), SECONDS, 3, "t", "one row for each moment"),
        (log_of("0,1", "5,1", "6,1", "1,1", "2,1", "3,1"), SECONDS, 5, "t", "rise from row to row"),
        (log_of("0,1", "1,1,1", "2,1,1", "3,1"), SECONDS, 3, None, "2 cells in each row"),
        (log_of("0,1"), SECONDS, None, None, "two readings or more"),
        (b"t;enc\n0;1\n1;1,5\n2;1.5\n", SECONDS, None, None, 'an answer: "." or ","'),
        (b"t;enc\n0;1,234\n1;2,345\n", SECONDS, None, None, "read both ways"),
        (log_of("25/12/2026 01:00,1", "25/12/2026 01:01,1"), DATED, 2, "t", "be read"),
    ],
)
def test_log_that_cannot_be_read_is_refused_with_its_place(text, mapping, row, column, told):
    """A refusal names row and column where there is one at fault, and says what would do."""
    error = refusal(text, mapping)

    assert (error.row, error.column) == (row, column)
    assert told in str(error)


def test_dates_in_the_other_order_are_refused():
    """An answer about day and month that some date contradicts is refused at that date."""
    mapping = DATED.model_copy(update={"time_format": "month_first"})
    error = refusal(log_of("12/11/2026 10:00,1", "13/11/2026 10:00,1"), mapping)

    assert (error.row, error.column) == (3, "t")


def test_zone_in_some_rows_only_is_refused():
    """A log that names its zone in some rows only is not read by guessing the others."""
    error = refusal(log_of("2026-03-04T09:00:00Z,1", "2026-03-04T09:00:01,1"), DATED)

    assert (error.row, error.column) == (3, "t")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"encode_base": None}, "mapping.encode_base is None"),
        ({"time_format": None}, "mapping.time_format is None"),
        ({"time": None}, "mapping.time is None"),
        ({"time": "when"}, 'which has "t", "enc"'),
        ({"encode_cores": "t"}, "one meaning for a column"),
        ({"encode_cores": None}, "at least one column of readings"),
        ({"step_s": 1.0}, "mapping.step_s is 1.0"),
        ({"offload": "on", "on_words": ()}, "mapping.on_words"),
        ({"offload": "on", "on_words": ("Off",)}, "not also among off_words"),
        ({"date": "on"}, "the date has a column of its own"),
        ({"encoding": "morse"}, "mapping.encoding"),
        ({"decimal": ","}, "mapping.decimal"),
    ],
)
def test_missing_or_wrong_answers_are_refused(change, told):
    """Reading does not begin before every answer it needs is there and fits the log."""
    error = refusal(
        log_of("0,1,off", "1,1,on", header="t,enc,on"), SECONDS.model_copy(update=change)
    )

    assert told in str(error)


def test_mapping_survives_a_trip_through_json():
    """Answers can be kept and sent as plain data, and a wrong one is named."""
    mapping = SECONDS.model_copy(update={"counts": {"idle": "n"}, "on_words": ("A",)})
    assert mapping_from(mapping.model_dump(mode="json")) == mapping

    with pytest.raises(InputError, match="how many vCPUs"):
        mapping_from({"encode_base": {"of": "desktop"}})


def test_states_are_told_by_the_words_answered_for():
    """The on/off column follows the words of the mapping; another word is unknown, and noted."""
    mapping = SECONDS.model_copy(
        update={"offload": "s", "on_words": ("Karte",), "off_words": ("ohne",), "activity": "a"}
    )
    rows = ["0,1,karte,x", "1,1,OHNE,", "2,1,weg,y", "3,1,,y"]
    log = read_log(log_of(*rows, header="t,enc,s,a"), mapping)

    assert log.offload.tolist() == [1, 0, -1, -1]
    assert log.activity == ("x", "", "y", "y")
    assert found(log, "noted") == [('neither on nor off ("weg")', "s", [4, 5])]
    error = refusal(log_of("0,1,a,x", "1,1,b,y", header="t,enc,s,a"), mapping)
    assert (error.row, error.column) == (2, "s")


def test_several_logs_come_back_in_the_order_of_time():
    """Logs are sorted by their first reading; those that overlap are refused by name."""
    late = Upload("late.csv", log_of("2026-03-04 10:00:00,1", "2026-03-04 10:00:09,1"))
    early = Upload("early.csv", log_of("2026-03-04 09:00:00,1", "2026-03-04 09:00:09,1"))
    across = Upload("across.csv", log_of("2026-03-04 09:00:09,1", "2026-03-04 09:30:00,1"))

    assert [log.name for log in read_log([late, early], DATED)] == ["early.csv", "late.csv"]
    error = refusal([late, early, across], DATED)
    assert "early.csv and across.csv" in str(error)


@settings(max_examples=60, deadline=None)
@given(
    st.text(alphabet=st.sampled_from('a,"\n;'), max_size=60).filter(
        lambda t: t.count('"') % 2 == 0
    ),
    st.integers(1, 9),
)
def test_rows_are_the_same_however_the_text_is_cut(text, chunk):
    """Going through a long text in parts finds the rows that going through at once finds."""
    whole = table.rows_of(text.encode(), ",")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table, "_CHUNK_BYTES", chunk)
        parts = table.rows_of(text.encode(), ",")

    for name in ("start", "end", "cells"):
        assert getattr(whole, name).tolist() == getattr(parts, name).tolist()
    # Derived: a separator counts where an even number of quotes stands before it.
    outside = [c for i, c in enumerate(text) if text[:i].count('"') % 2 == 0]
    assert sum(whole.cells - 1) == outside.count(",")


def test_finding_says_how_many_and_where():
    """A finding is one sentence with its count and its first rows."""
    finding = Finding("dropped", "the time goes back", "t", np.arange(3, 12))
    single = Finding("emptied", "not a number", "enc", np.array([7]))

    assert finding.sentence == (
        "9 rows dropped: the time goes back (rows 3, 4, 5, 6, 7 and 4 more)."
    )
    assert single.sentence == '1 cell emptied in column "enc": not a number (row 7).'


def test_real_recording_is_read():
    """Our own recording of a worker at 1 Hz is read with its two unequal bases."""
    path = Path(__file__).resolve().parents[1] / "references" / "recording_17_toggles.csv"
    preview = look_at(path)
    mapping = preview.proposed.model_copy(
        update={
            "encode_cores": "worker_cpu_pct_one_core",
            "encode_base": CORE,
            "cpu_base": CpuBase(of="desktop", processors=2),
        }
    )
    log = read_log(path, mapping)

    assert preview.rows_about == 1080
    assert log.start == "2026-11-25T08:31:58Z"
    # Derived: counted in the file; two readings carry the stamp of one second.
    assert log.rows == 1079
    assert found(log, "dropped") == [("the same time as the row before", "timestamp_utc", [900])]
    assert int((np.diff(log.offload) != 0).sum()) == 17


def test_error_of_a_log_names_its_place_and_can_be_sent():
    """Log, row and column stand in the message and survive a trip between processes."""
    error = MeasurementError("trial.csv", "fast", "a number", 14, "enc")
    again = pickle.loads(pickle.dumps(error))

    assert str(again) == "trial.csv, row 14, column \"enc\" is 'fast'; expected a number."
    assert (again.log, again.row, again.column) == ("trial.csv", 14, "enc")


def test_row_after_a_line_end_in_quotes_is_counted_as_a_spreadsheet_does():
    """A cell of two lines is one row, so that a later fault is found where it is shown."""
    log = read_log(b't,enc,a\n0,1,"two\nlines"\n1,x,b\n' + b"2,1,c\n3,1,c\n4,1,c\n5,1,c\n", SECONDS)

    assert found(log, "emptied") == [("not a number", "enc", [3])]
