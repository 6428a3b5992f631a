"""Does every public function of the model name each parameter, with its unit?

A docstring that names a parameter the function no longer has, or a number without its unit,
misleads whoever calls it. What is checked: there is a docstring; its list headed "Parameters"
has the names of the signature in the same order; each entry whose annotation is a number or an
array of numbers holds a unit in square brackets, such as [s], [cores], [%], or [-] for none.
"""

import ast
import inspect
import re
from pathlib import Path

import pytest

MODEL = Path(__file__).resolve().parents[1] / "model"

NUMERIC = re.compile(r"\b(int|float|complex|ndarray|NDArray|ArrayLike|Series|\w*Array)\b")
FUNCTION = re.compile(r"\bCallable\b")
# Neither an index, service_s[2], nor an interval, [0, 1].
UNIT = re.compile(r"(?<![\w\]])\[(?![-+.\d]*\d\])[^\],\n]+\]")


def find_faults(source: str, name: str) -> list[str]:
    """Return a sentence for each fault in the docstrings of a module's public functions."""
    tree = ast.parse(source)
    exported = _exported(tree)
    faults = []
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        public = node.name in exported if exported is not None else node.name[0] != "_"
        if public and not _is_overload(node):
            faults += [f"{name}.{node.name} {fault}" for fault in _faults_of(node)]
    return faults


def _exported(tree: ast.Module) -> set[str] | None:
    for node in tree.body:
        if isinstance(node, ast.Assign) and any(
            isinstance(target, ast.Name) and target.id == "__all__" for target in node.targets
        ):
            return set(ast.literal_eval(node.value))
    return None


def _is_overload(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return any(ast.unparse(each).endswith("overload") for each in node.decorator_list)


def _faults_of(node: ast.FunctionDef | ast.AsyncFunctionDef) -> list[str]:
    docstring = ast.get_docstring(node)
    if not docstring:
        return ["has no docstring."]
    signature = _parameters(node.args)
    described = parameter_list(docstring)
    if list(signature) != list(described):
        return [
            f"takes ({', '.join(signature)}), but its docstring's Parameters are "
            f"({', '.join(described)})."
        ]
    return [
        f"gives no unit for {parameter}; expected one in square brackets, such as [s] or [-]."
        for parameter, annotation in signature.items()
        if NUMERIC.search(annotation)
        and not FUNCTION.search(annotation)
        and not UNIT.search(described[parameter])
    ]


def _parameters(arguments: ast.arguments) -> dict[str, str]:
    """Return each parameter's annotation, in the order of the signature, stars included."""
    starred = {id(arguments.vararg): "*", id(arguments.kwarg): "**"}
    in_order = [*arguments.posonlyargs, *arguments.args, arguments.vararg]
    in_order += [*arguments.kwonlyargs, arguments.kwarg]
    return {
        starred.get(id(each), "") + each.arg: ast.unparse(each.annotation)
        if each.annotation
        else ""
        for each in in_order
        if each is not None
    }


def parameter_list(docstring: str) -> dict[str, str]:
    """Return what the Parameters section says of each name, its type without the brackets' shape.

    An entry is a line "name : type" or "first, second : type" at the left edge, and the indented
    lines below it.
    """
    section = re.search(
        r"^Parameters\n-+\n(.*?)(?=^\S[^\n]*\n-{3,}$|\Z)",
        inspect.cleandoc(docstring),
        re.MULTILINE | re.DOTALL,
    )
    described: dict[str, str] = {}
    names: list[str] = []
    for line in section[1].splitlines() if section else []:
        if line[:1].strip():
            names = [name.strip() for name in line.partition(" :")[0].split(",")]
            described |= dict.fromkeys(names, "")
        else:
            described |= {name: described[name] + line + "\n" for name in names}
    return described


def test_public_functions_name_their_parameters_and_units():
    """Every public function of model names each parameter with its unit."""
    faults = []
    for path in sorted(MODEL.rglob("*.py")):
        name = ".".join(path.relative_to(MODEL.parent).with_suffix("").parts)
        faults += find_faults(path.read_text(encoding="utf-8"), name)

    assert not faults, "\n".join(faults)


GOOD = '''
def wait_s(think_s: float, cores: npt.NDArray[np.float64], name: str, *rest: int, seed: int = 1):
    """Return the wait.

    Parameters
    ----------
    think_s : float, above 0
        Mean time from one burst to the next. [s]
    cores : array of shape (sessions,)
        CPU delivered while 1, 2, ... of them
        are busy. [cores]
    name : str
        Told in errors.
    *rest : int
        Counts. [-]
    seed : int
        Any number. [-]

    Returns
    -------
    float
        Mean wait. [s]
    """
'''


def test_complete_docstring_has_no_faults():
    """A docstring that names each parameter in order, with units, is in order."""
    assert find_faults(GOOD, "made_up") == []


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("think_s : float", "thinking_s : float", "takes (think_s, cores, name, *rest, seed), but"),
        ("        Any number. [-]", "        Any number.", "gives no unit for seed"),
        ("are busy. [cores]", "are busy.", "gives no unit for cores"),
        ("    *rest : int\n        Counts. [-]\n", "", "(think_s, cores, name, seed)"),
        ("name: str, ", "", "takes (think_s, cores, *rest, seed), but"),
        (
            "name: str, ",
            "name: str, more: Role, ",
            "takes (think_s, cores, name, more, *rest, seed)",
        ),
        ('"""Return the wait.', '"""', "takes"),
    ],
)
def test_fault_in_a_docstring_is_told(old, new, told):
    """A name that is missing, stale or without its unit gives one sentence."""
    assert old in GOOD
    source = GOOD.replace(old, new)
    if new == '"""':
        source = source.replace("Parameters\n", "Inputs\n")

    faults = find_faults(source, "made_up")
    assert len(faults) == 1
    assert faults[0].startswith("made_up.wait_s ")
    assert told in faults[0]


@pytest.mark.parametrize(
    ("source", "faults"),
    [
        ("def wait(): pass", ["made_up.wait has no docstring."]),
        ("def _wait(seconds: float): pass", []),
        ("__all__ = ['other']\ndef wait(): pass", []),
        ("__all__ = ['_wait']\ndef _wait(): pass", ["made_up._wait has no docstring."]),
        ("def wait():\n    '''Return nothing.'''", []),
        ("@typing.overload\ndef wait(seconds: float): ...", []),
    ],
)
def test_public_functions_are_those_exported_or_without_underscore(source, faults):
    """`__all__` says what is public; without it, a leading underscore says what is not."""
    assert find_faults(source, "made_up") == faults


@pytest.mark.parametrize(
    ("annotation", "has_unit"),
    [
        ("float", True),
        ("int | None", True),
        ("npt.ArrayLike", True),
        ("FloatArray", True),
        ("Sequence[float]", True),
        ("bool", False),
        ("str | Path", False),
        ("Any", False),
        ("Host", False),
        ("Callable[[float], float]", False),
    ],
)
def test_only_numbers_need_a_unit(annotation, has_unit):
    """Numbers and arrays have a unit; records, text, truth values and functions have none."""
    source = GOOD.replace("name: str", f"name: {annotation}")

    assert bool(find_faults(source, "made_up")) is has_unit


@pytest.mark.parametrize(
    ("words", "is_unit"),
    [
        ("[s]", True),
        ("[-]", True),
        ("[1/s]", True),
        ("[%]", True),
        ("[`unit`]", True),
        ("[0, 1]", False),
        ("[2]", False),
        ("[0.5]", False),
        ("seconds[name]", False),
    ],
)
def test_ranges_and_indices_are_no_units(words, is_unit):
    """Square brackets around a range, a number or an index are not taken for a unit."""
    source = GOOD.replace("Any number. [-]", f"Any number. {words}")

    assert (find_faults(source, "made_up") == []) is is_unit
