"""How does the proposal put scenarios side by side: the pinned one, and those of the shelf?"""

import datetime as dt
import json
from collections.abc import Sequence

from app import url_state, words
from app import words_proposal as told
from app.answers import DAY_SEED, replicates_of
from app.components.comparison import SHOWN, ComparedRow, comparison, shown, takeaway
from app.evidence_pictures import picture_of
from app.figures.compared import LETTERS, Compared, compared_figure, shortened
from app.pictures import PAPER, sheets
from app.proposal_pieces import Told, address, figure_on, opened_by, section, table
from app.theme import ARM_LABEL
from model import scenario_url
from model.assess import assess
from model.day import simulate_day_both
from model.scenario import Scenario, load


def pin_text(scenario_text: str, pin: str) -> str:
    """Return the part about what is pinned as JSON text.

    Parameters
    ----------
    scenario_text : str
        A scenario that was checked, as JSON text.
    pin : str
        Query of the pinned scenario.
    """
    scenario, pinned = load(scenario_text), scenario_url.from_query(pin)
    now, before = _compared(told.THIS_HOST, scenario), _compared(told.PINNED, pinned)
    change = words.change_sentence(before.found, now.found).removeprefix(told.AGAINST)
    crest = words.crest_change(before.day, now.day)
    rows = comparison([now, before], max(scenario.sessions, pinned.sessions))
    return json.dumps(
        section(
            "pin",
            sentences=[f"{'; '.join(filter(None, [change, crest]))}.",
                       words.pin_sentence(pinned, scenario)],
            tables=[table("", ["", told.THIS_HOST, told.PINNED], _compared_rows(rows))],
            link=address(url_state.to_address(pinned)),
        )
    )  # fmt: skip


def shelf_text(items: Sequence[tuple[str, str]], day: str) -> str:
    """Return the part about saved scenarios as JSON text.

    Parameters
    ----------
    items : sequence of (str, str)
        Name and scenario, as JSON text, of each; one to four.
    day : str
        The date that the pictures bear, as ISO 8601 writes it.
    """
    compared = [_compared(name, load(scenario)) for name, scenario in items]
    rows = comparison(compared, max(each.found.scenario.sessions for each in compared))
    named = [f"{letter} {each.name}" for letter, each in zip(LETTERS, compared, strict=False)]
    own = [
        (letter, name, sheets(each.found.scenario, None, dt.date.fromisoformat(day)))
        for letter, name, each in zip(LETTERS, named, compared, strict=False)
    ]
    figures = _side_by_side(compared, named) if len(compared) > 1 else []
    for letter, name, drawn in own:
        (chart,) = [each for each in drawn["charts"] if each["name"] == "headroom"]
        figures.append(
            figure_on(
                drawn,
                chart | {"name": f"saved-{letter.lower()}", "title": f"{name}: {chart['title']}"},
            )
        )
    said = [f"{name}: {words.answer_sentence(each.found)}"
            for name, each in zip(named, compared, strict=True)]  # fmt: skip
    return json.dumps(
        section(
            "shelf",
            lead=" ".join(said),
            sentences=said,
            figures=figures,
            tables=[table("", ["", *named], _compared_rows(rows))],
            link=figures[-1]["link"] if len(compared) == 1 else None,
        )
    )


def _side_by_side(compared: list[Compared], named: list[str]) -> list[Told]:
    """One chart of headroom for each arm, a line for each scenario."""
    scenarios = [each.found.scenario for each in compared]
    pin = None
    reopen = told.LINK_ONE.format(letter=LETTERS[0], name=compared[0].name)
    if len(compared) == 2:  # a link holds two: the second one as what is pinned
        pin = _query(scenarios[1])
        reopen = told.LINK_PINNED if pin is not None else reopen
    query = url_state.to_address(scenarios[0], pin)
    figures = []
    for arm in SHOWN:
        drawn = compared_figure(compared, arm, PAPER)
        lines = [trace["line"] for trace in drawn["data"] if trace["mode"] == "lines"]
        key = [
            {"label": f"{letter} {shortened(each.name)}", "colour": line["color"],
             "mark": line["dash"]}
            for letter, each, line in zip(LETTERS, compared, lines, strict=False)
        ]  # fmt: skip
        made = picture_of(
            f"saved-{'with' if arm == 'offloaded' else 'without'}-card",
            f"Headroom over sessions, {ARM_LABEL[arm]}", drawn, takeaway(compared, arm),
            [f"{name}: {words.summary_lines(each)[0]}"
             for name, each in zip(named, scenarios, strict=True)], key,
        )  # fmt: skip
        made["data"] |= {"name": told.PARTS["shelf"][0]} | opened_by(query, reopen)
        figures.append(figure_on(made["data"], made["chart"]))
    return figures


def _compared(name: str, scenario: Scenario) -> Compared:
    days = simulate_day_both(scenario, DAY_SEED, replicates_of(scenario))
    return Compared(name, assess(scenario), days)


def _compared_rows(rows: list[ComparedRow]) -> list[list[str]]:
    told_rows: list[list[str]] = []
    heading = None
    for row in rows:
        if row.section != heading:
            heading = row.section
            told_rows.append([heading])
        label = f"{row.label} [{row.unit}]" if row.unit else row.label
        told_rows.append([label, *[shown(cell, row.digits) for cell in row.cells]])
    return told_rows


def _query(scenario: Scenario) -> str | None:
    """What pins a scenario; None where it is too long for a link."""
    return scenario_url.to_query(scenario) if url_state.to_address(scenario) is not None else None
