"""Does every module import only what DEVELOPERS.md lets it?

Under the heading "Who imports whom" there stands a fenced block with one line for each group of
modules: `row N   names -> what they may import`. A blank at the start of a line continues the
line above it. Names, and what they may import, stand between commas:

    model.cpu           one module
    app.pages.*         the package and every module in it that has no line by its own name
    row 2               (right of the arrow) all modules of a row
    rows 0 to 4         (right of the arrow) all modules of several rows

    nothing             (right of the arrow) the same as no arrow

A row may have several lines; each arrow begins a new one, with or without the row's number
before it. Modules of one row do not import each other unless the arrow says
so, and an arrow never points to a higher row. A package's `__init__` that imports nothing of the
project needs no line. Imports inside functions and those for type checkers count like any other.
"""

import ast
import re
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parents[1]
PACKAGES = ("model", "app")
HEADING = "## Who imports whom"

MODEL_MAY_IMPORT = {"numpy", "pandas", "pydantic", "pydantic_core", *sys.stdlib_module_names}
EXTRAS = {"model.sweep_cluster": {"distributed"}}  # imported where a cluster is asked for
NOT_IN_FIGURES = {"dash", "flask"}

LINE = re.compile(r"rows? (?P<row>\d+)\s+(?P<names>[^>]+?)\s*(?:->\s*(?P<targets>.+))?")
NAME = re.compile(r"[A-Za-z_]\w*(\.\w+)*(\.\*)?")
ROWS = re.compile(r"rows? (\d+)(?: to (\d+))?")


class RowsError(Exception):
    """The block in DEVELOPERS.md cannot be read."""


@dataclass(frozen=True)
class Line:
    """Some modules of one row, and what they may import."""

    row: int
    names: tuple[str, ...]
    targets: tuple[str, ...]


def block_of(page):
    """Return the lines of the fenced block under the heading, continued lines joined."""
    found = re.search(
        rf"^{re.escape(HEADING)}\s*$(?:(?!^## ).)*?^```[^\n]*\n(.*?)^```",
        page,
        flags=re.MULTILINE | re.DOTALL,
    )
    if found is None:
        raise RowsError(f'there is no fenced block under "{HEADING}"')
    lines = []
    for line in filter(str.strip, found[1].splitlines()):
        if not line[0].isspace() or not lines:
            lines.append(line.strip())
        elif "->" in line and "->" in lines[-1]:  # another group of the same row
            lines.append(" ".join([*lines[-1].split()[:2], line.strip()]))
        else:
            lines[-1] += f" {line.strip()}"
    return lines


def read_rows(page):
    """Return the lines of the block, or raise RowsError for the first one that makes no sense."""
    lines = []
    for text in block_of(page):
        found = LINE.fullmatch(text.strip())
        if found is None:
            raise RowsError(f"not of the form 'row N   names -> names': {text}")
        names, targets = _listed(found["names"]), _listed(found["targets"] or "")
        targets = () if targets == ("nothing",) else targets
        for name in names:
            if not NAME.fullmatch(name):
                raise RowsError(f"{name!r} is no module: {text}")
        for target in targets:
            if not (ROWS.fullmatch(target) or NAME.fullmatch(target)):
                raise RowsError(f"{target!r} is neither a module nor a row: {text}")
        lines.append(Line(int(found["row"]), names, targets))
    twice = {name for line in lines for name in line.names if _count(lines, name) > 1}
    if twice:
        raise RowsError(f"listed twice: {', '.join(sorted(twice))}")
    return lines


def _listed(text):
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _count(lines, name):
    return sum(line.names.count(name) for line in lines)


def covers(name, module):
    """Tell whether a listed name means a module."""
    if name.endswith(".*"):
        return module == name[:-2] or module.startswith(name[:-1])
    return module == name


def line_of(lines, module):
    """Return the line that lists a module, its own name before a package's, or None."""
    matches = [(len(name), line) for line in lines for name in line.names if covers(name, module)]
    exact = [line for line in lines if module in line.names]
    if exact:
        return exact[0]
    return max(matches, key=lambda match: match[0])[1] if matches else None


def may_import(lines, line, module):
    """Tell whether the modules of a line may import a module."""
    target_line = line_of(lines, module)
    for target in line.targets:
        rows = ROWS.fullmatch(target)
        if rows is None:
            if covers(target, module):
                return True
        elif target_line and int(rows[1]) <= target_line.row <= int(rows[2] or rows[1]):
            return True
    return False


def modules_in(repository):
    """Return every module of the packages with its file, in the order of the alphabet."""
    modules = {}
    for package in PACKAGES:
        for path in sorted((repository / package).rglob("*.py")):
            parts = path.relative_to(repository).with_suffix("").parts
            modules[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return modules


def imports_of(module, path, modules):
    """Return all that a module imports: modules of the project, and others by their full name."""
    package = module if path.name == "__init__.py" else module.rpartition(".")[0]
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            start = package.split(".")[: len(package.split(".")) - node.level + 1]
            base = ".".join((start if node.level else []) + ([node.module] if node.module else []))
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                found.add(inner if inner in modules else base)
        elif isinstance(node, ast.Call) and _loads_by_name(node.func) and node.args:
            name = node.args[0]
            if isinstance(name, ast.Constant) and isinstance(name.value, str):
                found.add(name.value)
    return found - {module}


def _loads_by_name(function):
    name = getattr(function, "attr", getattr(function, "id", ""))
    return name in ("import_module", "__import__")


def ours(name):
    """Tell whether a name belongs to the project."""
    return name.split(".")[0] in PACKAGES


def complaints(repository, page):
    """Return what in the source and the rows does not agree, in sentences."""
    lines = read_rows(page)
    modules = modules_in(repository)
    found = []
    for line in lines:
        for name in line.names:
            if not any(covers(name, module) for module in modules):
                found.append(f"{name} is listed but does not exist")
        for target in line.targets:
            found += _points_nowhere_or_up(lines, line, target, modules)
    for module, path in modules.items():
        imports = sorted(imports_of(module, path, modules))
        line = line_of(lines, module)
        if line is None:
            if path.name != "__init__.py" or any(ours(name) for name in imports):
                found.append(f"{module} is not listed")
            continue
        for name in filter(ours, imports):
            if not may_import(lines, line, name):
                found.append(f"{module} (row {line.row}) imports {name}")
    return found


def _points_nowhere_or_up(lines, line, target, modules):
    rows = ROWS.fullmatch(target)
    who = ", ".join(line.names)
    if rows:
        there = {each.row for each in lines}
        missing = [row for row in rows.groups() if row and int(row) not in there]
        if missing:
            return [f"{who} -> {target}: there is no row {missing[0]}"]
        return [f"{who} -> {target} points up"] if int(rows[2] or rows[1]) > line.row else []
    targets = [line_of(lines, module) for module in modules if covers(target, module)]
    if not targets:
        return [f"{who} -> {target}: no such module"]
    if any(each and each.row > line.row for each in targets):
        return [f"{who} -> {target} points up"]
    return []


def forbidden(repository):
    """Return the imports that no row could allow, in sentences."""
    modules = modules_in(repository)
    found = []
    for module, path in modules.items():
        for name in sorted(imports_of(module, path, modules)):
            top = name.split(".")[0]
            if module.split(".")[0] == "model" and top not in (
                MODEL_MAY_IMPORT | EXTRAS.get(module, set()) | {"model"}
            ):
                found.append(f"{module} imports {top}")
            if covers("app.figures.*", module) and top in NOT_IN_FIGURES:
                found.append(f"{module} draws, and imports {top}")
            if module.startswith("app.pages.") and name.startswith("app.pages."):
                found.append(f"{module} imports the page {name}")
    return found


def test_imports_follow_the_rows():
    """Every module has a place in DEVELOPERS.md and imports only what stands there."""
    page = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")

    assert complaints(REPOSITORY, page) == []


def test_no_layer_reaches_for_the_wrong_tool():
    """The model knows no web, figures know no Dash, and a page knows no other page."""
    assert forbidden(REPOSITORY) == []


# A small made-up project whose rows and imports agree.

PAGE = f"""
{HEADING}

Words about the rows.

```
row 0   model.errors, model.defaults -> nothing
row 1   model.cpu, model.host -> row 0, model.cpu
row 2   model.assess -> rows 0 to 1
row 3   app.theme
row 4   app.figures.* -> app.theme,
                         row 2
        app.figures.shared -> app.theme
row 5   app.pages.* -> app.figures.*, row 2
row 6   app.server -> rows 3 to 5
```
"""
TREE = {
    "model/__init__.py": '"""Nothing but words."""',
    "model/errors.py": "import math",
    "model/defaults.py": "",
    "model/cpu.py": "import numpy as np\nfrom model.errors import InputError",
    "model/host.py": "from model import cpu, defaults",
    "model/assess.py": "from . import cpu\nfrom .host import Host",
    "app/__init__.py": "",
    "app/theme.py": "",
    "app/figures/__init__.py": "",
    "app/figures/shared.py": "from app import theme",
    "app/figures/day.py": "import plotly.graph_objects as go\nfrom model.assess import assess",
    "app/pages/__init__.py": "",
    "app/pages/host.py": "import dash\nfrom app.figures import day",
    "app/pages/fleet.py": "def page():\n    from app.figures.shared import axis",
    "app/server.py": "import importlib\nimportlib.import_module('app.pages.host')",
}


def project(folder, **changed):
    """Write the made-up project, a few modules changed (`_` for the dot), and return its folder."""
    texts = TREE | {f"{module.replace('_', '/')}.py": text for module, text in changed.items()}
    for name, text in texts.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def test_made_up_project_is_in_order(tmp_path):
    """Imports that the rows allow pass, however they are written."""
    assert complaints(project(tmp_path), PAGE) == []
    assert forbidden(tmp_path) == []


@pytest.mark.parametrize(
    "text",
    [
        "import model.cpu",
        "import model.cpu as cpu",
        "from model import cpu",
        "from model.cpu import Host",
        "from . import cpu",
        "from .cpu import Host",
        "def later():\n    import model.cpu",
        "if TYPE_CHECKING:\n    import model.cpu",
        "import_module('model.cpu')",
    ],
)
def test_no_way_of_importing_escapes(tmp_path, text):
    """An import that the rows do not allow is named, however it is written."""
    found = complaints(project(tmp_path, model_errors=text), PAGE)

    assert found == ["model.errors (row 0) imports model.cpu"]


@pytest.mark.parametrize(
    ("module", "text", "told"),
    [
        ("model_defaults", "import model.errors", "model.defaults (row 0) imports model.errors"),
        ("model_cpu", "import model.host", "model.cpu (row 1) imports model.host"),
        ("model_cpu", "import model", "model.cpu (row 1) imports model"),
        (
            "app_figures_shared",
            "import app.server",
            "app.figures.shared (row 4) imports app.server",
        ),
        ("app_figures_shared", "import model.cpu", "app.figures.shared (row 4) imports model.cpu"),
        ("model_new", "", "model.new is not listed"),
        ("model_deep_new", "", "model.deep.new is not listed"),
    ],
)
def test_each_wrong_import_is_told(tmp_path, module, text, told):
    """An import within a row or against it is named, and so is a module without a row."""
    assert complaints(project(tmp_path, **{module: text}), PAGE) == [told]


def test_package_that_imports_needs_a_row(tmp_path):
    """A package's own file is exempt only while it imports nothing of the project."""
    project(tmp_path)
    (tmp_path / "model" / "__init__.py").write_text("from model.cpu import x", encoding="utf-8")

    assert complaints(tmp_path, PAGE) == ["model is not listed"]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("app.theme, app.gone", "app.gone is listed but does not exist"),
        ("app.theme, app.gone.*", "app.gone.* is listed but does not exist"),
        ("app.theme -> row 6", "app.theme -> row 6 points up"),
        ("app.theme -> rows 0 to 4", "app.theme -> rows 0 to 4 points up"),
        ("app.theme -> app.server", "app.theme -> app.server points up"),
        ("app.theme -> row 9", "app.theme -> row 9: there is no row 9"),
        ("app.theme -> model.gone", "app.theme -> model.gone: no such module"),
    ],
)
def test_rows_that_do_not_fit_the_source_are_told(tmp_path, line, told):
    """A row for a module that is gone, or an arrow that points up or nowhere, is named."""
    page = PAGE.replace("row 3   app.theme", f"row 3   {line}")

    assert complaints(project(tmp_path), page) == [told]


@pytest.mark.parametrize(
    ("written", "instead", "told"),
    [
        (HEADING, "## Another heading", "no fenced block"),
        ("row 3   app.theme", "app.theme", "not of the form"),
        ("row 3   app.theme", "row 3   the theme", "is no module"),
        ("rows 0 to 1", "the rows below", "neither a module nor a row"),
        ("row 3   app.theme", "row 3   app.theme, model.cpu", "listed twice: model.cpu"),
        ("Words about", "## Another heading\n\nWords about", "no fenced block"),
    ],
)
def test_unreadable_rows_are_refused(written, instead, told):
    """A block that is missing or makes no sense fails the test instead of passing unread."""
    with pytest.raises(RowsError, match=told):
        read_rows(PAGE.replace(written, instead, 1))


@pytest.mark.parametrize(
    ("module", "text", "told"),
    [
        ("model_cpu", "import dash", "model.cpu imports dash"),
        ("model_cpu", "from flask import Flask", "model.cpu imports flask"),
        ("model_cpu", "import plotly.graph_objects", "model.cpu imports plotly"),
        ("model_cpu", "import app.theme", "model.cpu imports app"),
        ("model_cpu", "import scipy.stats", "model.cpu imports scipy"),
        ("app_figures_day", "from dash import dcc", "app.figures.day draws, and imports dash"),
        (
            "app_pages_host",
            "from . import fleet",
            "app.pages.host imports the page app.pages.fleet",
        ),
    ],
)
def test_each_wrong_tool_is_told(tmp_path, module, text, told):
    """An import that no row could allow is named with its module."""
    assert forbidden(project(tmp_path, **{module: text})) == [told]
