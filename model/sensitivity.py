"""Which input moves the answer most, and what should be measured next?

`first_order` tells what share of an answer's variance each group of inputs accounts for, from
draws that were made anyway. `ranking` puts that beside what happens when one group alone moves,
and says in a sentence where to begin.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from model.draws import GROUPS
from model.hosts import Arm
from model.targets import LIMITS
from model.uncertainty import Uncertainty

FloatArray = npt.NDArray[np.float64]

_DRAWS_PER_TERM = 3  # our choice: fewer leave the coefficients to luck
_STEADY = 1e-12  # relative variance below which an answer does not move
_NAMED_INPUTS = 3
_ALSO_NAMED = 1 / 3  # of the first one's share
_WORTH_SAYING = 0.005


@dataclass(frozen=True, eq=False)
class FirstOrder:
    """Shares of the variance of an answer.

    Parameters
    ----------
    by_group : dict of str to float
        Share that the group accounts for on its own. [-] All 0 where the answer does not move.
    by_column : array of shape (columns,)
        The same for single columns, what they share with others of their group included. [-]
    explained : float
        Share of all groups together. [-] What is missing to 1 comes of groups acting together,
        or is too uneven for the fit.
    """

    by_group: dict[str, float]
    by_column: FloatArray
    explained: float


def first_order(
    columns: npt.ArrayLike, groups: Sequence[str], answer: npt.ArrayLike, degree: int
) -> FirstOrder | None:
    """Return first-order sensitivity indices from given draws.

    Parameters
    ----------
    columns : array of shape (draws, columns)
        Inputs of each draw, or their scores. [any unit] Groups are independent of each other;
        columns of one group need not be.
    groups : sequence of str of shape (columns,)
        The group of each column.
    answer : array of shape (draws,)
        The answer of each draw. [any unit]
    degree : int, 1 or more
        Degree of the polynomial of each column. [-]

    Returns
    -------
    FirstOrder or None
        None with fewer than three draws for each term of the fit.

    Notes
    -----
    The answer is fitted by a sum of polynomials, one for each column, by least squares. The
    index of a group is the variance of its part of the fit, less what the residual's scatter adds
    to it on average, over the sum of those of all groups and of the residual: that groups happen
    to correlate in the draws does not count. The draws need no design of
    their own, so those of the propagation serve. Products of columns of one group are left out.

    Source
    ------
    B. Sudret, Global sensitivity analysis using polynomial chaos expansions, Reliability
    Engineering and System Safety 93(7), 2008, 964-979, doi:10.1016/j.ress.2007.04.002, with
    main effects only; the correction is that of the adjusted coefficient of determination.
    """
    inputs, outputs = np.asarray(columns, dtype=float), np.asarray(answer, dtype=float)
    draws, count = inputs.shape
    terms = count * degree
    if draws < _DRAWS_PER_TERM * (terms + 1):
        return None
    names = list(dict.fromkeys(groups))
    centred = outputs - outputs.mean()
    total = float(centred @ centred) / draws
    if total <= _STEADY * max(float(outputs @ outputs) / draws, 1e-300) or terms == 0:
        return FirstOrder(dict.fromkeys(names, 0.0), np.zeros(count), 0.0)
    basis = _polynomials(inputs, degree)
    solve = np.linalg.pinv(basis)
    coefficients = solve @ centred
    residual = centred - basis @ coefficients
    scatter = float(residual @ residual) / (draws - terms - 1)
    gram, spread = basis.T @ basis, solve @ solve.T

    def variance(of: npt.NDArray[np.bool_]) -> float:
        part = basis[:, of] @ coefficients[of]
        luck = scatter * float((gram[np.ix_(of, of)] * spread[np.ix_(of, of)]).sum())
        return float(max(float(part @ part) - luck, 0.0) / draws)

    column = np.repeat(np.arange(count), degree)
    group = np.array([names.index(name) for name in groups])[column]
    by_group = {name: variance(group == number) for number, name in enumerate(names)}
    alone = float(sum(by_group.values()))
    whole = alone + scatter
    return FirstOrder(
        {name: each / whole for name, each in by_group.items()},
        np.array([variance(column == number) for number in range(count)]) / whole,
        alone / whole,
    )


def _polynomials(inputs: FloatArray, degree: int) -> FloatArray:
    """Legendre polynomials of each column over its own range, without their means."""
    low, high = inputs.min(axis=0), inputs.max(axis=0)
    scaled = (2 * inputs - low - high) / np.where(high > low, high - low, 1.0)
    values = np.polynomial.legendre.legvander(scaled, degree)[..., 1:]
    values = values.reshape(len(inputs), -1)
    centred: FloatArray = values - values.mean(axis=0)
    return centred


@dataclass(frozen=True)
class Rank:
    """What one group of inputs does to an answer.

    Parameters
    ----------
    group : str
        Key of `model.draws.GROUPS`.
    label : str
        What it is, in words.
    low, high : float
        The answer with this group alone at its P10 and at its P90: all of it moved together,
        towards more CPU demand (towards larger values where demand does not tell).
        [unit of the answer]
    first_order : float or None
        Share of the answer's variance that the group accounts for on its own. [-] None with too
        few draws.
    inputs : tuple of (str, float)
        Its inputs with shares of their own, largest first, at most three. [-]
    measured : bool
        Whether all of these inputs were measured.
    """

    group: str
    label: str
    low: float
    high: float
    first_order: float | None
    inputs: tuple[tuple[str, float], ...]
    measured: bool

    @property
    def swing(self) -> float:
        """How far the answer moves between the group's P10 and P90. [unit of the answer]"""
        return abs(self.high - self.low) if self.high != self.low else 0.0


@dataclass(frozen=True)
class Ranking:
    """All groups, the one that moves an answer most first.

    Parameters
    ----------
    answer : str
        Which answer: a name of `model.uncertainty.ANSWERS` or `DIFFERENCES`.
    arm : str or None
        The arm; None for a difference between the arms.
    ranks : tuple of Rank
        The groups.
    explained : float or None
        Share of the variance that all of them explain one by one. [-] None with too few draws.
    sentence : str
        What to measure next, or why nothing need be.
    """

    answer: str
    arm: Arm | None
    ranks: tuple[Rank, ...]
    explained: float | None
    sentence: str


def ranking(uncertain: Uncertainty, answer: str, arm: str | None = None) -> Ranking:
    """Return which groups of inputs move an answer, largest first.

    Parameters
    ----------
    uncertain : Uncertainty
        The draws.
    answer : str
        A name of `model.uncertainty.ANSWERS`, or with no arm one of `DIFFERENCES`.
    arm : str or None
        "software" or "offloaded"; None for the difference between them.

    Raises
    ------
    InputError
        For an unknown answer or arm, or one that was not asked for.

    Notes
    -----
    Ordered by first-order index where there are draws enough, else by the swing. Answers that
    are infinite, hosts that carry nobody, are left out of the variance.
    """
    quantity = uncertain.of(answer, arm)
    finite = np.isfinite(quantity.drawn)
    groups = [each.group for each in uncertain.inputs]
    scores = uncertain.scores[finite]
    indices = None
    for degree in (2, 1):
        if indices is None and groups:
            indices = first_order(scores, groups, quantity.drawn[finite], degree)
    ranks = []
    for group, (low, high) in quantity.one_group.items():
        own = [index for index, name in enumerate(groups) if name == group]
        shares = [
            (uncertain.inputs[index].path, float(indices.by_column[index]))
            for index in own
            if indices is not None and indices.by_column[index] > _WORTH_SAYING
        ]
        shares.sort(key=lambda pair: -pair[1])
        by_path = {each.path: each for each in uncertain.inputs}
        named = tuple(shares[:_NAMED_INPUTS])
        ranks.append(
            Rank(
                group,
                GROUPS[group].label,
                low,
                high,
                None if indices is None else indices.by_group[group],
                named,
                all(by_path[path].measured for path, _ in named) if named else False,
            )
        )
    ranks.sort(key=lambda rank: (-(rank.first_order or 0.0), -rank.swing))
    explained = None if indices is None else indices.explained
    sentence = _sentence(uncertain, answer, quantity.arm, ranks)
    return Ranking(answer, quantity.arm, tuple(ranks), explained, sentence)


_ANSWERS_IN_WORDS = {
    "rated_load": ("the rated load", "sessions", 0),
    "headroom_pct": ("the headroom", "% of capacity", 1),
    "crest_pct": ("the crest", "% of capacity", 0),
    "hosts": ("the number of hosts", "hosts", 0),
    "cost_per_year": ("the yearly cost", "", 0),
    "gain_sessions": ("the sessions that the card adds", "sessions", 0),
    "crest_reduction_pct": ("the fall of the crest", "%", 1),
    "hosts_saved": ("the hosts that the card saves", "hosts", 0),
    "saved_per_year": ("what the card saves in a year", "", 0),
}
_ARMS_IN_WORDS = {"software": " without the card", "offloaded": " with the card"}


def _sentence(uncertain: Uncertainty, answer: str, arm: Arm | None, ranks: Sequence[Rank]) -> str:
    what, unit, digits = _ANSWERS_IN_WORDS[answer]
    what += _ARMS_IN_WORDS[arm] if arm else ""
    first = ranks[0] if ranks else None
    if first is None or ((first.first_order or 0.0) < _WORTH_SAYING and not first.swing):
        held = ""
        if answer == "rated_load" and arm and uncertain.limits[arm]:
            limit, share = next(iter(uncertain.limits[arm].items()))
            held = f": {LIMITS[limit]} sets it in {share * 100:.0f} % of the draws"
        return f"No uncertain input moves {what}{held}."
    text = f"Measure next: {first.label} ({GROUPS[first.group].how}){_begin_with(first)}."
    if first.first_order:
        text += f" {first.first_order * 100:.0f} % of the variance of {what} comes from there."
    if first.swing:
        low, high = (_figure(value, digits) for value in (first.low, first.high))
        moves = f"it moves {what} from {low} to {high} {unit}".rstrip()
        text += f" From its P10 to its P90, all else as given, {moves}."
    nobody = uncertain.carries_nobody[arm] if arm and answer == "rated_load" else 0.0
    if nobody >= _WORTH_SAYING:
        text += f" In {nobody * 100:.0f} % of the draws not even one session meets every target."
    return text


def _begin_with(first: Rank) -> str:
    """Which inputs of the group come first."""
    if not first.inputs:
        return ""
    most = first.inputs[0][1]
    owners = [
        path.partition("[")[2].partition("]")[0]
        for path, share in first.inputs
        if share >= most * _ALSO_NAMED
    ]
    owners = [owner for owner in dict.fromkeys(owners) if owner]
    words = f", first {', then '.join(owners[:2])}" if owners else ""
    return words + ("; measured already, so with a longer trial" if first.measured else "")


def _figure(value: float, digits: int) -> str:
    return f"{value:,.{digits}f}" if np.isfinite(value) else "no host is enough"
