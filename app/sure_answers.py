"""What does the Host page show of all draws: sentences, a table, a ranking of the inputs?"""

import datetime as dt
from typing import Any

from app import url_state, words
from app import words_sure as told
from app.csv_text import csv_text
from app.evidence_pictures import picture_of
from app.figures.ranking import WHICH_END, Bar, ranking_figure
from app.pictures import EXAMPLE, PAPER
from app.sure_result import SureResult
from app.theme import ARM_LABEL, Figure, Theme, shown_arms
from model.errors import InputError
from model.hosts import Arm
from model.scenario import Scenario, load

Band = dict[str, float]
_OF_ARM = ("rated_load", "headroom_pct", "crest_pct", "hosts", "cost_per_year")
_BETWEEN = ("gain_sessions", "crest_reduction_pct", "hosts_saved", "saved_per_year")


def shown(result: SureResult, theme: Theme, chosen: str | None) -> dict[str, Any]:
    """Return all that the section shows of a result.

    Parameters
    ----------
    result : dict
        The result.
    theme : Theme
        The look.
    chosen : str or None
        Which answer the ranking is of, a key of `choices`; None for the first one.
    """
    scenario = load(result["scenario"])
    listed = choices(result, scenario)
    answer = listed[0][0] if chosen is None else _known(chosen, listed)
    ranked = result["ranking"][answer]
    return {
        "scenario": result["scenario"],
        "draws": result["draws"],
        "sentences": sentences(result, scenario),
        "table": {"head": list(told.HEAD), "rows": _rows(result, scenario)},
        "about": _about(result),
        "choices": [list(each) for each in listed],
        "answer": answer,
        "ranking": _figure(result, scenario, answer, theme),
        "measure_next": ranked["sentence"],
        "explained": _explained(ranked["explained"]),
        "by_trial": bool(ranked["ranks"]) and ranked["ranks"][0]["group"] in told.MEASURED_BY_TRIAL,
    }


def choices(result: SureResult, scenario: Scenario) -> list[tuple[str, str]]:
    """Return the answers of a result, each with its name in words.

    Parameters
    ----------
    result : dict
        The result.
    scenario : Scenario
        Its scenario.
    """
    card = scenario.accelerator.cards > 0
    found = []
    for name in _OF_ARM:
        for arm in _arms(scenario):
            if name in result["answers"][arm]:
                where = f", {told.ARM_WORDS[arm]}" if card else ""
                found.append((f"{name}.{arm}", _label(result, scenario, name) + where))
    if card:
        found += [
            (f"{name}.", _label(result, scenario, name))
            for name in _BETWEEN
            if name in result["differences"]
        ]
    return found


def _known(chosen: str, listed: list[tuple[str, str]]) -> str:
    if chosen not in dict(listed):
        raise InputError("answer", chosen, f"one of {', '.join(key for key, _ in listed)}")
    return chosen


def _arms(scenario: Scenario) -> list[Arm]:
    return shown_arms(scenario)


def _label(result: SureResult, scenario: Scenario, name: str) -> str:
    total = result["total_sessions"]
    return told.ANSWERS[name][0].format(
        sessions=words.sessions(scenario.sessions),
        total="" if total is None else f"{total:,} session{'' if total == 1 else 's'}",
    )


def _unit(result: SureResult, name: str) -> str:
    currency = result["cost"]["currency"] if result["cost"] else ""
    return told.ANSWERS[name][1].format(currency=currency)


# ------------------------------------------------------------------------------------ sentences


def sentences(result: SureResult, scenario: Scenario) -> list[str]:
    """Return the result in sentences, what the host carries first.

    Parameters
    ----------
    result : dict
        The result.
    scenario : Scenario
        Its scenario.
    """
    card = scenario.accelerator.cards > 0
    lines = [_carries(result, card)]
    for arm in _arms(scenario):
        of = result["nobody"][arm]
        lines.append(told.nobody(of["share"], arm, of["limit"], of["activity"], card))
    if card:
        gain = result["differences"]["gain_sessions"]
        less = gain["p90"] < 0
        low, high = (-gain["p90"], -gain["p10"]) if less else (gain["p10"], gain["p90"])
        lines.append(
            f"In 8 of 10 draws the card {'takes away' if less else 'adds'} "
            f"{_ends('gain_sessions', low, high, 'sessions')}."
        )
    lines.append(_headroom(result, scenario, card))
    if result["total_sessions"] is not None:
        lines.append(_hosts(result, scenario, card))
    if result["cost"] is not None:
        lines.append(_cost(result, card))
    return [line for line in lines if line]


def _span(result: SureResult, arm: Arm, name: str, unit: str = "") -> str:
    band = result["answers"][arm][name]
    return _ends(name, band["p10"], band["p90"], unit)


def _ends(name: str, low: float, high: float, unit: str = "") -> str:
    return told.span(name, low, high, unit)


def _carries(result: SureResult, card: bool) -> str:
    draws = "In 8 of 10 draws this host carries"
    if not card:
        best = result["answers"]["software"]["rated_load"]["best"]
        return (
            f"{draws} {_span(result, 'software', 'rated_load', 'sessions')} "
            f"({told.figure('rated_load', best)} as given)."
        )
    best = {arm: result["answers"][arm]["rated_load"]["best"] for arm in ("offloaded", "software")}
    return (
        f"{draws} {_span(result, 'offloaded', 'rated_load', 'sessions')} with the card, "
        f"{_span(result, 'software', 'rated_load')} without "
        f"({told.figure('rated_load', best['offloaded'])} and "
        f"{told.figure('rated_load', best['software'])} as given)."
    )


def _headroom(result: SureResult, scenario: Scenario, card: bool) -> str:
    text = f"The headroom at {words.sessions(scenario.sessions)} is"
    without = _span(result, "software", "headroom_pct", "%")
    if not card:
        return f"{text} {without} of the CPU."
    return (
        f"{text} {_span(result, 'offloaded', 'headroom_pct', '%')} of the CPU with the card, "
        f"{without} without."
    )


def _hosts(result: SureResult, scenario: Scenario, card: bool) -> str:
    total = result["total_sessions"]
    text = f"For {total:,} session{'' if total == 1 else 's'} that makes"
    without = _span(result, "software", "hosts", "" if card else "hosts")
    if not card:
        return f"{text} {without}."
    return (
        f"{text} {_span(result, 'offloaded', 'hosts', 'hosts')} with the card, {without} without."
    )


def _cost(result: SureResult, card: bool) -> str:
    currency = result["cost"]["currency"]
    without = _span(result, "software", "cost_per_year", currency)
    if not card:
        return f"The cost per year is {without}."
    carried = _span(result, "offloaded", "cost_per_year", currency)
    return f"The cost per year is {carried} with the card, {without} without."


def _about(result: SureResult) -> list[str]:
    lines = [f"{result['draws']:,} draws. {told.HEAD_ABOUT}"]
    if result["cost"] is not None:
        lines.append(told.cost_note(result["cost"]["years"], result["cost"]["choice"]))
    return lines


def _explained(share: float | None) -> str:
    if share is None:
        return (
            "Shares of the variance need more draws than these; the order is by how far each "
            "input moves the answer."
        )
    if share == 0:
        return ""
    return (
        f"One by one the inputs explain {told.share(share)} of the variance; the rest comes of "
        "inputs acting together, or of edges."
    )


# ---------------------------------------------------------------------------------- table, chart


def _lines(result: SureResult, scenario: Scenario) -> list[tuple[str, Arm | None, Band]]:
    """Name, arm and band of each row of the table."""
    found: list[tuple[str, Arm | None, Band]] = [
        (name, arm, result["answers"][arm][name])
        for name in _OF_ARM
        for arm in _arms(scenario)
        if name in result["answers"][arm]
    ]
    if scenario.accelerator.cards:
        found += [
            (name, None, result["differences"][name])
            for name in _BETWEEN
            if name in result["differences"]
        ]
    return found


def _rows(result: SureResult, scenario: Scenario) -> list[list[str]]:
    rows = []
    for name, arm, band in _lines(result, scenario):
        label = f"{_label(result, scenario, name)} [{_unit(result, name)}]"
        values = [told.figure(name, band[end]) for end in ("p10", "p50", "p90", "best")]
        rows.append([label, "" if arm is None else ARM_LABEL[arm], *values])
    return rows


def _bars(result: SureResult, answer: str) -> list[Bar]:
    name = answer.partition(".")[0]
    unit = _unit(result, name)
    return [
        Bar(
            rank["label"], rank["low"], rank["high"],
            _ends(name, rank["low"], rank["low"], unit),
            _ends(name, rank["high"], rank["high"], unit), rank["first_order"],
        )
        for rank in result["ranking"][answer]["ranks"]
    ]  # fmt: skip


def _figure(result: SureResult, scenario: Scenario, answer: str, theme: Theme) -> Figure:
    name, _, arm = answer.partition(".")
    colour = theme.colour(arm) if arm else theme.text
    fill = theme.fill(arm) if arm else theme.faint
    axis = f"{_label(result, scenario, name)} [{_unit(result, name)}]"
    best = result["ranking"][answer]["best"]
    return ranking_figure(
        _bars(result, answer), best, told.figure(name, best), axis, theme, colour, fill
    )


# ---------------------------------------------------------------------------- to take away


def table_csv(result: SureResult) -> str:
    """Return P10, P50, P90 and the answer as given, of every answer and arm, as CSV text.

    Parameters
    ----------
    result : dict
        The result.
    """
    scenario = load(result["scenario"])
    header = ["answer", "arm", "unit", "P10", "P50", "P90", "as given"]
    rows: list[list[object]] = [
        [
            _label(result, scenario, name), "" if arm is None else ARM_LABEL[arm],
            _unit(result, name), *[band[end] for end in ("p10", "p50", "p90", "best")],
        ]
        for name, arm, band in _lines(result, scenario)
    ]  # fmt: skip
    return _with_caution(header, rows, result)


def ranking_csv(result: SureResult, answer: str | None) -> str:
    """Return what each group of inputs does to an answer, as CSV text.

    Parameters
    ----------
    result : dict
        The result.
    answer : str or None
        A key of `choices`; None for the first one.
    """
    scenario = load(result["scenario"])
    listed = choices(result, scenario)
    chosen = listed[0][0] if answer is None else _known(answer, listed)
    unit = _unit(result, chosen.partition(".")[0])
    of = dict(listed)[chosen]
    header = [
        "inputs", "spread [%]", f"{of} at their P10 [{unit}]", f"{of} at their P90 [{unit}]",
        "share of variance [%]", "largest inputs",
    ]  # fmt: skip
    rows: list[list[object]] = [
        [
            rank["label"], result["spreads_pct"][rank["group"]], rank["low"], rank["high"],
            None if rank["first_order"] is None else 100 * rank["first_order"],
            "; ".join(path for path, _ in rank["inputs"]),
        ]
        for rank in result["ranking"][chosen]["ranks"]
    ]  # fmt: skip
    return _with_caution(header, rows, result)


def _with_caution(header: list[str], rows: list[list[object]], result: SureResult) -> str:
    """What it is of, and the caution, stand in the last columns of the first row."""
    scenario = load(result["scenario"])
    query = url_state.to_address(scenario)
    link = None if query is None else f"/?{query}" if query else "/"
    about: list[object] = [scenario.name, link, result["draws"], result["seed"], words.CAUTION]
    nothing: list[object] = [None] * len(about)
    lines = [[*row, *(nothing if at else about)] for at, row in enumerate(rows)]
    return csv_text([*header, "scenario", "link", "draws", "seed", "note"], lines)


def picture(result: SureResult, answer: str | None) -> dict[str, Any]:
    """Return what stands on the picture of the ranking.

    Parameters
    ----------
    result : dict
        The result.
    answer : str or None
        A key of `choices`; None for the first one.
    """
    scenario = load(result["scenario"])
    listed = choices(result, scenario)
    chosen = listed[0][0] if answer is None else _known(answer, listed)
    figure = _figure(result, scenario, chosen, PAPER)
    summary = [*sentences(result, scenario)[:2], *words.summary_lines(scenario)]
    of_answer = result["ranking"][chosen]
    best = told.figure(chosen.partition(".")[0], of_answer["best"])
    made = picture_of(
        "ranking", told.RANKING_TITLE, figure, of_answer["sentence"], summary, _key(chosen, best)
    )
    figure = made["chart"]["figure"]
    layout = figure["layout"]  # what the dotted line is stands in the key
    layout["annotations"] = [each for each in layout["annotations"] if each["yref"] != "paper"]
    if "xaxis2" in figure["layout"]:
        title = figure["layout"]["xaxis2"]["title"] | {"font": {"size": PAPER.font_px}}
        figure["layout"]["xaxis2"] |= {"title": title, "automargin": True}
    query = url_state.to_address(scenario)
    day = dt.date.today()
    made["data"] |= {
        "name": scenario.name,
        "date": f"Crestline, {day.day} {day:%B} {day.year}",
        "query": None if query is None else query or EXAMPLE,
        "reopen": words.REOPEN if query is not None else {"none": words.NO_LINK_IN_PICTURE},
    }
    return made


def _key(answer: str, best: str) -> list[dict[str, str]]:
    arm = answer.partition(".")[2]
    colour = PAPER.colour(arm) if arm else PAPER.text
    return [
        {"label": WHICH_END["low"], "colour": colour, "mark": "hatched"},
        {"label": WHICH_END["high"], "colour": colour, "mark": "filled"},
        {"label": f"as given: {best}", "colour": PAPER.target, "mark": "dot"},
        {"label": "share of the variance", "colour": PAPER.ghost, "mark": "filled"},
    ]
