"""What do measurements on the customer's own hosts say? The Evidence page: its frame.

Five numbered parts in one column. The scripts of assets/ fill them from plain JSON
(evidence-plan.js part 1, evidence-logs.js and evidence-columns.js part 2, evidence-toggles.js
part 3, evidence-results.js part 4, evidence-to-model.js part 5); app/evidence_web.py tells how
each visitor is known.
"""

from typing import Any

from dash import html

from app import ids
from app.words_evidence import ABOUT, PARTS, TITLE


def page_layout() -> list[Any]:
    """Return the page's frame; its scripts fill it."""
    parts = [
        html.Section(
            [html.H2([html.Span(f"{number} ", className="part-number"), title]),
             html.P(about, className="soft"),
             html.Div(id=f"evidence-{name}-body")],
            id=f"evidence-{name}", className="evidence-part", **ids.named(title),
        )
        for number, (name, (title, about)) in enumerate(PARTS.items(), start=1)
    ]  # fmt: skip
    return [
        html.Div([html.H2(TITLE, className="evidence-title"), html.P(ABOUT, className="soft")],
                 className="evidence-head"),
        *parts,
    ]  # fmt: skip
