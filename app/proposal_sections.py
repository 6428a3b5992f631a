"""What does the proposal say of one host? Answer, event, all draws, inputs and what it rests on.

Every number comes from the function that the number's own page shows it by. Nothing here knows of
requests, so that a process of its own can gather a section (`app.proposal_pieces`).
"""

import datetime as dt
import json

from app import failure_answers, labels, sure_answers, url_state, words
from app import words_proposal as told
from app.answers import curve_answer, next_answer
from app.pictures import sheets
from app.proposal import sheet as inputs_of
from app.proposal_pieces import WHOLE_PX, Told, address, figure_on, section, table
from app.sure_result import Bands, SureResult
from app.theme import ARM_LABEL, LIGHT, shown_arms
from model import scenario_url
from model.hosts import ARMS
from model.scenario import Scenario, load


def host_text(scenario_text: str, pin: str | None, bands: Bands | None, day: str) -> str:
    """Return the part about the host as JSON text.

    Parameters
    ----------
    scenario_text : str
        A scenario that was checked, as JSON text.
    pin : str or None
        Query of the pinned scenario whose lines the charts show; None for none.
    bands : Bands or None
        Where most draws lie, for the charts; None for none.
    day : str
        The date that the pictures bear, as ISO 8601 writes it.
    """
    scenario = load(scenario_text)
    pinned = None if pin is None else scenario_url.from_query(pin)
    curves = curve_answer(scenario, LIGHT, pinned, bands=bands)
    rest = next_answer(scenario, LIGHT, pinned, bands)
    texts = curves["texts"] | rest["texts"]
    lines = ("answer-sentence", "limit-offloaded", "limit-software", "measured-note",
             "measured-range", "link-note")  # fmt: skip
    arms = [arm for arm in ARMS if arm in shown_arms(scenario)]
    rows = [
        [f"{label} [{unit}]", *[texts[f"now-{arm}-{name}"] for arm in arms]]
        for name, (label, unit, _) in labels.VALUES.items()
    ]
    drawn = sheets(scenario, pinned, dt.date.fromisoformat(day), bands)
    return json.dumps(
        section(
            "host",
            sentences=[texts[name] for name in lines],
            figures=[figure_on(drawn, chart) for chart in drawn["charts"]],
            tables=[table("", [texts["now-title"], *[ARM_LABEL[arm] for arm in arms]], rows)],
            lists=[{"title": "And if ...?", "items": rest["lines"]}],
            link=address(url_state.to_address(scenario, pin)),
        )
    )


def event_text(scenario_text: str, event: str) -> str:
    """Return the part about an event as JSON text.

    Parameters
    ----------
    scenario_text : str
        A scenario that was checked, as JSON text.
    event : str
        The event, as the link writes it.
    """
    scenario = load(scenario_text)
    found = failure_answers.told(scenario, event)
    link = address(url_state.to_address(scenario, None, event))
    if "refused" in found:
        return json.dumps(section("event", sentences=[found["refused"]], link=link))
    own = found["table"]
    head = ["", *[when for _ in own["arms"] for when in own["when"]]]
    groups = [["", 1], *[[arm["label"], len(own["when"])] for arm in own["arms"]]]
    rows = [
        [f"{row['label']} [{row['unit']}]" if row["unit"] else row["label"], *row["cells"]]
        for row in own["rows"]
    ]
    return json.dumps(
        section(
            "event",
            sentences=[found["sentence"], found["rush"], found["note"]],
            tables=[table(own["caption"], head, rows, groups)],
            link=link,
        )
    )


def sure_section(result: SureResult, ranking: str | None) -> Told:
    """Return the part about all draws.

    Parameters
    ----------
    result : dict
        A result of `app.sure_store`.
    ranking : str or None
        Which answer the ranking is of; None for the first one.
    """
    listed = dict(sure_answers.choices(result, load(result["scenario"])))
    chosen = ranking if ranking in listed else None
    found = sure_answers.shown(result, LIGHT, chosen)
    picture = sure_answers.picture(result, chosen)
    groups = len(result["ranking"][found["answer"]]["ranks"])
    drawn = figure_on(picture["data"], picture["chart"], [WHOLE_PX[0], 190 + 36 * groups])
    return section(
        "sure",
        sentences=[*found["sentences"], *found["about"], found["explained"]],
        figures=[drawn],
        tables=[table("", found["table"]["head"], found["table"]["rows"])],
        link=drawn["link"],
    )


def inputs_section(scenario: Scenario) -> Told:
    """Return the part that holds all inputs of the host.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    """
    found = inputs_of(scenario)
    return section(
        "inputs", groups=found["groups"],
        tables=[
            table(each["title"], each["head"], each["rows"], worded=worded)
            for each, worded in zip(found["tables"], ((2, 7), (1,)), strict=True)
        ],
        link=address(url_state.to_address(scenario)),
    )  # fmt: skip


def closing_section(
    scenario: Scenario, pin: str | None, event: str | None, fleet: str | None
) -> Told:
    """Return the part that ends the sheet: method, limits, caution and the link to all of it.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    pin, event, fleet : str or None
        What of the sheet stands beside it, as `app.url_state` writes it.
    """
    return section(
        "close",
        lists=[
            {"title": told.METHOD_TITLE, "items": told.method_lines()},
            {"title": told.LIMITS_TITLE, "items": told.limit_lines()},
            {"title": told.CAUTION_TITLE, "items": [words.CAUTION]},
        ],
        link=address(url_state.to_address(scenario, pin, event, fleet)),
    )
