"""How does a checked, frozen record of inputs tell what is wrong with it?

Scenario parts are pydantic records. This file gives them one manner: every number takes its
range from `model.defaults.FIELDS`, nothing unknown is accepted, and the first thing wrong is
raised as an `InputError` that names the field by its dotted path.
"""

from collections.abc import Mapping
from typing import Any, NoReturn, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from model.defaults import FIELDS
from model.errors import InputError

R = TypeVar("R", bound="Record")


class FrozenMapping(dict[str, float]):
    """A mapping that refuses to be changed, so that a scenario stays what was checked."""

    def _refuse(self, *_args: object, **_kwargs: object) -> NoReturn:
        raise TypeError("a scenario cannot be changed; make a new one with the other values")

    __setitem__ = __delitem__ = _refuse
    clear = pop = popitem = setdefault = update = __ior__ = _refuse

    def __reduce__(self) -> tuple[type, tuple[dict[str, float]]]:
        """Pickle as a plain dictionary wrapped again."""
        return (FrozenMapping, (dict(self),))


class Record(BaseModel):
    """A frozen record that accepts nothing it does not know."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, hide_input_in_errors=False
    )


def number(path: str, **more: Any) -> Any:
    """Return the pydantic field for one number, with range and default from `FIELDS`.

    Parameters
    ----------
    path : str
        The number's path in `FIELDS`: "host.cores".
    **more : object
        Passed on to pydantic's Field.
    """
    quantity = FIELDS[path]
    default: dict[str, Any] = {} if quantity.value is None else {"default": quantity.value}
    if quantity.whole and quantity.value is not None:
        default = {"default": int(quantity.value)}
    return Field(ge=quantity.low, le=quantity.high, description=quantity.meaning, **default, **more)


def check(kind: type[R], data: object) -> R:
    """Return a record of the kind from plain data, or raise what is wrong first.

    Parameters
    ----------
    kind : type
        The record's class.
    data : object
        Plain JSON data.

    Raises
    ------
    InputError
        The first field that will not do: its dotted path, its value and what is expected.
    """
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        raise _input_error(error) from None


def _input_error(error: ValidationError) -> InputError:
    first = error.errors(include_url=False)[0]
    loc = [part for part in first["loc"] if part not in ("[key]",)]
    path = _dotted(loc)
    inner = first.get("ctx", {}).get("error")
    if isinstance(inner, InputError):
        field = ".".join(part for part in (path, inner.field) if part)
        return InputError(field, inner.value, inner.expected)
    kind = first["type"]
    if kind == "missing":
        return InputError(path, None, "a value; the field is missing")
    if kind == "extra_forbidden":
        return InputError(path, _brief(first["input"]), "no such field; the name is unknown")
    quantity = FIELDS.get(_template(loc))
    if quantity is not None and not kind.startswith("too_"):
        return InputError(path, _brief(first["input"]), quantity.expected)
    return InputError(path or "scenario", _brief(first["input"]), _in_words(kind, first))


def _in_words(kind: str, first: Mapping[str, Any]) -> str:
    context = first.get("ctx", {})
    words = {
        "string_type": "text",
        "model_type": "a record with named fields",
        "dict_type": "a mapping of names to numbers",
        "tuple_type": "a list",
        "list_type": "a list",
        "literal_error": f"one of {context.get('expected', '')}",
        "string_too_long": f"at most {context.get('max_length')} characters",
        "string_too_short": f"at least {context.get('min_length')} character",
        "too_long": f"at most {context.get('max_length')} entries",
        "too_short": f"at least {context.get('min_length')} in the list",
        "missing_argument": "a list of time and share",
    }
    return words.get(kind, str(first["msg"]).removeprefix("Input should be "))


def _dotted(loc: list[Any]) -> str:
    path = ""
    for part in loc:
        path += f"[{part}]" if isinstance(part, int) else (f".{part}" if path else str(part))
    return path


def _template(loc: list[Any]) -> str:
    """The path of `FIELDS` for a place: activities[2].dwell_s stands at activities.dwell_s."""
    names = [str(part) for part in loc if not isinstance(part, int)]
    return ".".join(names[:2])


def _brief(value: object) -> object:
    """Return a container by its size, anything else as it is."""
    return f"{len(value)} entries" if isinstance(value, (dict, list, tuple)) else value
