"""How is the table of a sweep written, so that nobody ever finds half of it?"""

import csv
import os
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from model.errors import InputError


def check_out(out: Path) -> None:
    """Refuse a file that could not be written as a table.

    Parameters
    ----------
    out : Path
        The table's file.

    Raises
    ------
    InputError
        For another ending than .csv or .parquet, a folder that is not there, or a missing extra.
    """
    if out.suffix.lower() not in (".csv", ".parquet"):
        raise InputError("--out", str(out), "a file whose name ends in .csv or .parquet")
    if out.is_dir() or not out.parent.is_dir():
        raise InputError("--out", str(out), "a file in a folder that exists")
    if out.suffix.lower() == ".parquet" and find_spec("pyarrow") is None:
        cure = "CSV, or the extra that writes Parquet: pip install '.[parquet]'"
        raise InputError("--out", str(out), cure)


def write_table(out: Path, header: list[tuple[str, type]], lines: Iterable[list[Any]]) -> int:
    """Write a table, under its name once it is whole, and return how many rows have an error.

    Parameters
    ----------
    out : Path
        The table's file.
    header : list of tuple
        Name of each column and what its cells are: int, float or str. The last column may be
        "error".
    lines : iterable of list
        The cells of each row.

    Raises
    ------
    InputError
        Where the file cannot be written.
    """
    unfinished = out.with_name(f"{out.name}.unfinished")
    try:
        if out.suffix.lower() == ".csv":
            errors = _write_csv(unfinished, header, lines)
        else:
            errors = _write_parquet(unfinished, header, lines)
        unfinished.replace(out)
    except OSError as error:
        unfinished.unlink(missing_ok=True)
        expected = f"a file that can be written ({error.strerror})"
        raise InputError("--out", str(out), expected) from None
    return errors


def _write_csv(path: Path, header: list[tuple[str, type]], lines: Iterable[list[Any]]) -> int:
    errors = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow([name for name, _ in header])
        for cells in lines:
            table.writerow(cells)
            errors += header[-1][0] == "error" and cells[-1] != ""
        file.flush()
        os.fsync(file.fileno())
    return errors


def _write_parquet(path: Path, header: list[tuple[str, type]], lines: Iterable[list[Any]]) -> int:
    import pandas as pd

    kinds: dict[type, Any] = {int: "Int64", float: "Float64", str: "string"}
    columns = {
        name: pd.array(list(cells), dtype=kinds[kind])
        for (name, kind), cells in zip(header, zip(*lines, strict=True), strict=True)
    }
    table = pd.DataFrame(columns)
    table.to_parquet(path, index=False)
    return int((table["error"] != "").sum()) if "error" in table else 0
