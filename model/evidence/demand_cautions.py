"""Which demands can a host's total not tell apart, and what else must a reader of them know?

Counts that rise and fall together, demands held at 0, residuals with a trend, a host at its limit:
each is told in a sentence. Counts of which one follows exactly from others are refused.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from model.errors import MeasurementError
from model.evidence.record import FloatArray

_DEPENDENT = 1e-9  # of the largest singular value; below it a column is a sum of others
_ALIKE = 10.0  # our choice, common practice: a variance inflated tenfold is told
_CONSTANT_SHARE = 0.999  # our choice: a base of which the counts imitate so much is told
_LITTLE = 0.5  # our choice: of the variance, explained by the counts
_STEEP = 3.0  # standard errors of a trend in the residuals that is told
_FEW_INDEPENDENT = 30  # our choice [rows]
_FULL = 0.97  # our choice: of what the host can show


def refuse_dependent(columns: FloatArray, unknowns: Sequence[str]) -> None:
    """Refuse counts of which one is a sum of others, and say which.

    Parameters
    ----------
    columns : array of shape (rows, unknowns)
        Counts of the activities, and ones for the base where it is unknown. [sessions]
    unknowns : sequence of str
        Their names; the base is "the base".

    Raises
    ------
    MeasurementError
        Where a column follows from the others.
    """
    scaled = columns / np.sqrt((columns**2).sum(axis=0))
    _, singular, right = np.linalg.svd(np.linalg.qr(scaled, mode="r"))
    if singular[-1] > _DEPENDENT * singular[0]:
        return
    part = np.abs(right[-1])
    involved = [name for name, share in zip(unknowns, part, strict=True) if share > 1e-6]
    shown = ", ".join(involved[:6])
    if "the base" in involved:
        cure = (
            "a total that changes: as many people were there all the time, so give base_cores, "
            "what the host uses without anyone, or leave one activity out"
        )
    else:
        cure = "counts that change independently: join these activities to one"
    raise MeasurementError("counts", f"always in step: {shown}", cure)


def cautions_of_counts(columns: FloatArray, unknowns: Sequence[str], with_base: bool) -> list[str]:
    """Return which demands can hardly be told apart.

    Parameters
    ----------
    columns : array of shape (rows, unknowns)
        Counts of the activities; with an unknown base, a column of ones before them. [sessions]
    unknowns : sequence of str
        Their names.
    with_base : bool
        Whether the base is unknown.

    Notes
    -----
    The variance of a demand is inflated by what other counts imitate of its own; told is an
    inflation above ten, with the count that is most like it.
    """
    warnings = []
    if with_base:
        counts, names = columns[:, 1:], unknowns[1:]
        level = counts.mean(axis=0)
        second_moments = counts.T @ counts / len(counts)
        imitated = float(level @ np.linalg.lstsq(second_moments, level, rcond=None)[0])
        if imitated > _CONSTANT_SHARE:
            warnings.append(
                "The number of people hardly changes, so what they use can hardly be told from "
                "what the host uses without them: give base_cores, or measure an evening too."
            )
    else:
        counts, names = columns, unknowns
    spread = counts.std(axis=0)
    for name, each in zip(names, spread, strict=True):
        if each == 0:
            warnings.append(f'The count of "{name}" never changes.')
    varying = np.flatnonzero(spread > 0)
    if len(varying) < 2:
        return warnings
    correlation: FloatArray = np.asarray(np.corrcoef(counts[:, varying].T))
    inflation = np.diag(np.linalg.pinv(correlation, hermitian=True))
    told: set[frozenset[int]] = set()
    for at in np.flatnonzero(inflation > _ALIKE):
        others = np.abs(correlation[at])
        others[at] = -1
        partner = int(np.argmax(others))
        pair = frozenset((int(at), partner))
        if pair in told:
            continue
        told.add(pair)
        one, other = names[varying[at]], names[varying[partner]]
        value = float(correlation[at, partner])
        if value > 0.8:
            warnings.append(
                f'"{one}" and "{other}" rise and fall together (correlation {value:.2f}): trust '
                "the sum of their demands, not each alone."
            )
        elif value < -0.8:
            warnings.append(
                f'"{one}" falls when "{other}" rises (correlation {value:.2f}): trust the '
                "difference of their demands, not each alone."
            )
        else:
            warnings.append(
                f'The count of "{one}" nearly follows from the other counts: its demand can '
                "hardly be told from theirs."
            )
    return warnings


def cautions_of_bound(
    unknowns: Sequence[str],
    held: npt.NDArray[np.bool_],
    factor_cores: FloatArray,
    half_width_cores: FloatArray,
) -> list[str]:
    """Return which demands are held at 0, and whether chance explains it.

    Parameters
    ----------
    unknowns : sequence of str
        Names of the activities, and of the base where it is unknown.
    held : array of shape (unknowns,)
        Whether each is held at 0. [-]
    factor_cores, half_width_cores : array of shape (unknowns,)
        The demand as it would be without the bound, and its interval's half width. [core s/s]
    """
    return [
        _held_sentence(
            unknowns[at], float(factor_cores[at]), float(factor_cores[at] + half_width_cores[at])
        )
        for at in np.flatnonzero(held).tolist()
    ]


def _held_sentence(name: str, factor: float, above: float) -> str:
    subject = name if name == "the base" else f'"{name}"'
    start = f"{subject[0].upper()}{subject[1:]} is held at 0 (without the bound {factor:.3g} cores)"
    if above < 0:
        return f"{start}, and chance does not explain it: its count may stand for something else."
    return f"{start}, which chance explains."


def cautions_of_fit(
    rows: int, varies: bool, r2: float, independent_rows: float, trend: float
) -> list[str]:
    """Return what the counts leave unexplained, and why intervals should be taken as rough.

    Parameters
    ----------
    rows : int
        Rows of the fit. [rows]
    varies : bool
        Whether the host's total changes at all.
    r2 : float
        Share of the variance of the total that the counts explain. [-]
    independent_rows : float
        So many independent readings would say as much of the level. [rows]
    trend : float
        Slope of the residuals over their order, in its standard errors. [-]
    """
    warnings = []
    if not varies:
        warnings.append("The host's total never changes: the counts have nothing to explain.")
    elif r2 < _LITTLE:
        warnings.append(
            f"The counts explain only {max(r2, 0) * 100:.0f} % of how the host's total varies: "
            "something else uses the CPU, or the counts belong to other times."
        )
    if abs(trend) > _STEEP:
        direction = "rises" if trend > 0 else "falls"
        warnings.append(
            f"What the counts do not explain {direction} through the log: the intervals are too "
            "narrow until its cause is found or the log is cut into shorter ones."
        )
    if independent_rows < _FEW_INDEPENDENT:
        warnings.append(
            f"Neighbouring rows are so alike that {rows:,} of them say as much as about "
            f"{max(independent_rows, 1):.0f} independent ones: take the intervals as rough, and "
            "measure for longer."
        )
    return warnings


def cautions_of_limit(total_cores: FloatArray, limit_cores: float) -> list[str]:
    """Return how often the host was at its limit, where it was.

    Parameters
    ----------
    total_cores : array of shape (rows,)
        CPU of the whole host. [core s/s]
    limit_cores : float, above 0
        The most the host can show. [core s/s]
    """
    full = float((total_cores >= _FULL * limit_cores).mean())
    if full == 0:
        return []
    return [
        f"In {max(full * 100, 0.1):.1f} % of the rows the host is at its limit: work waited or "
        "was dropped there, and the demands come out too small."
    ]
