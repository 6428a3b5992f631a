"""What does the proposal say of a visitor's trial? What the trial's report says, on one sheet."""

from app import evidence_shown_effects, url_state
from app import words_proposal as told
from app import words_trial as trial
from app.evidence_answers import report
from app.evidence_pictures import picture_of
from app.evidence_session import Session
from app.pictures import PAPER
from app.proposal_pieces import WHOLE_PX, Told, address, figure_on, opened_by, section, table
from model.scenario import load


def evidence_section(session: Session, scenario_text: str) -> Told:
    """Return the part about a visitor's trial, from the visitor's own data.

    Parameters
    ----------
    session : Session
        The visitor's.
    scenario_text : str
        A scenario that was checked, as JSON text; for the thresholds of peaks.

    Raises
    ------
    InputError
        Where no effect is worked out.
    """
    found = report(session, {"scenario": scenario_text})
    effects = session.result("effects")
    query = url_state.to_address(load(scenario_text))
    figures, tables, lists = [], [], []
    for part in found["sections"]:
        if "figure" in part:
            column = evidence_shown_effects.columns_of(effects)[0]
            made = picture_of(
                "trial-forest", part["title"],
                evidence_shown_effects.forest_of(effects, column, False, PAPER),
                " ".join(_effects_of(effects, column)),
                [found["about"], trial.METHOD_IN_SHORT.format(drop=f"{effects['drop_s']:g}")],
            )  # fmt: skip
            made["data"] |= opened_by(query, told.TRIAL_LINK)
            size = [WHOLE_PX[0], 200 + 60 * part["lines"]]
            drawn = figure_on(made["data"], made["chart"], size)
            figures.append(drawn | {"opens": told.TEXTS["trial_link"]})
        if "table" in part:
            head = part["table"]["head"]
            worded = range(1, len(head))
            tables.append(table(part["title"], head, part["table"]["rows"], worded=worded))
        if "list" in part or "paragraphs" in part:
            items = [*part.get("paragraphs", []), *part.get("list", [])]
            lists.append({"title": part["title"], "items": items})
    return section(
        "evidence", sentences=[*found["answer"], found["about"]], figures=figures, tables=tables,
        lists=lists, link=address(query),
    )  # fmt: skip


def _effects_of(effects: Told, column: str) -> list[str]:
    if column in effects["overall"]:
        return [trial.effect_sentence(effects["overall"][column])]
    rows = [row for row in effects["rows"] if row["column"] == column]
    return [trial.effect_sentence(row) for row in rows[:3]]
