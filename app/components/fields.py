"""What does every control of the page share: its value, its help, the place of its error?"""

from typing import Any

from dash import dcc, html

from app import ids, labels
from model.defaults import Quantity
from model.scenario import Scenario

Component = Any


def value_at(scenario: Scenario, path: str) -> Any:
    """Return what stands at a path of a scenario, as "roles[0].weight_pct".

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    path : str
        Names joined by dots, places in a list in brackets.
    """
    value: Any = scenario
    for name in path.replace("[", ".").replace("]", "").split("."):
        value = value[int(name)] if name.isdigit() else getattr(value, name)
    return value


def help_of(quantity: Quantity) -> str:
    """Return what a number means, its range and the provenance of its default.

    Parameters
    ----------
    quantity : Quantity
        The number.
    """
    reach = f"{quantity.low:.10g} to {quantity.high:.10g} {quantity.unit}".rstrip()
    return f"{quantity.meaning} {reach}. Default: {quantity.provenance}."


def shown(name: str, value: float, unit: str) -> Component:
    """Return the text beside a slider; the page's script keeps it up to date.

    Parameters
    ----------
    name : str
        The path of the number.
    value : float
        The number. [`unit`]
    unit : str
        Its unit, in the plural.
    """
    units: dict[str, Any] = {"data-unit": unit, "data-unit-one": labels.unit_of(1, unit)}
    return html.Output(labels.amount(value, unit), id=f"shown-{name}", **units)


def error_of(path: str) -> Component:
    """Return the place where the page's script says what is wrong with a field.

    Parameters
    ----------
    path : str
        The path by which the model names the field.
    """
    return html.Small(id=f"error-{path}", className="error")


def measured_at(path: str) -> Component:
    """Return the place where the page's script says that a number was measured.

    Parameters
    ----------
    path : str
        The path by which the model names the field.
    """
    return html.Small(id=f"measured-{path}", className="measured")


def hidden_label(component: dict[str, str], children: Any) -> Component:
    """Return a label that only assistive technology shows.

    Parameters
    ----------
    component : dict
        Id of the control.
    children : str or list
        The label.
    """
    return html.Label(children, htmlFor=ids.in_page(component), className="hidden-label")


def text_box(component: dict[str, str], value: str, **more: Any) -> Component:
    """Return a box for text, heard when it is left.

    Parameters
    ----------
    component : dict
        Id of the control.
    value : str
        What it holds.
    **more : object
        Passed on to the box.
    """
    return dcc.Input(id=component, type="text", value=value, debounce=True, **more)


def number_box(component: dict[str, str], value: float) -> Component:
    """Return a box for a number, heard when it is left.

    Parameters
    ----------
    component : dict
        Id of the control.
    value : float
        What it holds. [unit of its column]
    """
    return dcc.Input(id=component, type="number", value=value, step="any", debounce=True)


def explained(summary: str, entries: list[tuple[str, str]]) -> Component:
    """Return the help of several fields, folded away; keyboard and touch unfold it.

    Parameters
    ----------
    summary : str
        What is seen while it is folded.
    entries : list of (str, str)
        Label and help of each field.
    """
    told: list[Component] = []
    for label, sentence in entries:
        told += [html.Dt(label), html.Dd(sentence)]
    return html.Details([html.Summary(summary), html.Dl(told)], className="explained")
