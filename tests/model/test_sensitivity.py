"""Does the ranking of inputs agree with functions whose indices are known?"""

import numpy as np
import pytest

from model.draws import latin_hypercube
from model.errors import InputError
from model.scenario import default, from_data, to_data
from model.sensitivity import first_order, ranking
from model.uncertainty import propagate
from tests.scenarios import one_activity


def uniform(draws, columns, seed=1):
    """Independent numbers between 0 and 1."""
    return np.random.default_rng(seed).random((draws, columns))


def ishigami(x):
    """The function of T. Ishigami and T. Homma, 1990, with a = 7 and b = 0.1."""
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_indices_of_the_ishigami_function(checked):
    """The indices of a function with a strong interaction equal its integrals."""
    found = []
    for seed in range(8):
        x = (2 * latin_hypercube(2_000, 3, np.random.default_rng(seed)) - 1) * np.pi
        each = first_order(x, ["one", "two", "three"], ishigami(x), 8)
        found.append([*each.by_group.values(), each.explained])
    mean, error = np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / 8**0.5

    # Published: T. Ishigami and T. Homma, An importance quantification technique in uncertainty
    # analysis for computer models, ISUMA 1990, doi:10.1109/ISUMA.1990.151285 (second-hand; the
    # function). Derived: variance a^2/8 + b pi^4/5 + b^2 pi^8/18 + 1/2 = 13.845; of x1 alone
    # (1 + b pi^4/5)^2/2, of x2 alone a^2/8; the rest is x1 and x3 together, which no sum of
    # single effects explains.
    expected = [0.3139, 0.4424, 0.0, 0.7563]
    assert (error < 0.005).all()
    assert np.abs(mean - expected)[[0, 1, 3]] == pytest.approx(0, abs=3 * error.max())
    # Derived: x3 alone does nothing; an index is never below 0, so a little luck is left.
    assert 0 <= mean[2] < 0.002
    checked(
        "Uncertainty", "shares of x1, x2 and of all in the variance of the Ishigami function",
        "T. Ishigami and T. Homma, ISUMA 1990, doi:10.1109/ISUMA.1990.151285 (the function); its "
        "integrals by hand", np.array(expected)[[0, 1, 3]], mean[[0, 1, 3]],
        kind="published, second-hand", abs=3 * error.max(),
        allowed="three standard errors of eight runs",
    )  # fmt: skip


def test_indices_of_the_g_function(checked):
    """Indices that span three orders of magnitude are told apart."""
    a = np.array([0, 1, 4.5, 9, 99, 99, 99, 99])
    x = uniform(2_000, 8)
    answer = ((np.abs(4 * x - 2) + a) / (1 + a)).prod(axis=1)

    found = first_order(x, list("abcdefgh"), answer, 8)

    # Derived: I. M. Sobol's g-function has V_i = 1/(3 (1 + a_i)^2) and V = prod(1 + V_i) - 1.
    part = 1 / (3 * (1 + a) ** 2)
    expected = part / ((1 + part).prod() - 1)
    assert list(found.by_group.values()) == pytest.approx(expected.tolist(), abs=0.02)
    checked(
        "Uncertainty", "shares of the four inputs that matter in the variance of the g-function",
        "I. M. Sobol's g-function, its integrals by hand", expected[:4],
        list(found.by_group.values())[:4], kind="derived", abs=0.02,
    )  # fmt: skip


def test_group_of_dependent_inputs_agrees_with_pick_and_freeze(checked):
    """A group's index counts what its inputs share, as freezing the whole group does."""

    def drawn(seed):
        z = np.random.default_rng(seed).standard_normal((200_000, 4))
        z[:, 1] = 0.6 * z[:, 0] + 0.8 * z[:, 1]
        return z

    def answer(z):
        return np.exp(0.3 * z[:, 0] + 0.2 * z[:, 1]) + 0.4 * z[:, 2] + 0.1 * z[:, 2] * z[:, 3]

    groups = ["pair", "pair", "single", "other"]
    found = first_order(drawn(1)[:3_000], groups, answer(drawn(1)[:3_000]), 2)

    one, two = drawn(2), drawn(3)
    for group in ("pair", "single", "other"):
        own = np.array(groups) == group
        mixed = np.where(own, two, one)
        # Independent: the estimator of A. Saltelli and others, Computer Physics Communications
        # 181, 2010, 259-270, table 2 (b), doi:10.1016/j.cpc.2009.09.018, written here.
        expected = np.mean(answer(two) * (answer(mixed) - answer(one))) / np.var(answer(one))
        assert found.by_group[group] == pytest.approx(expected, abs=0.03)
        checked(
            "Uncertainty", f"share of a group of dependent inputs ({group})",
            "the estimator of A. Saltelli and others, Computer Physics Communications 181, 2010, "
            "259-270, doi:10.1016/j.cpc.2009.09.018, 200,000 draws", expected,
            found.by_group[group], kind="independent", abs=0.03,
        )  # fmt: skip


def test_luck_is_taken_off():
    """An input that does nothing gets no share of the variance on average."""
    shares = []
    for seed in range(20):
        x = uniform(300, 12, seed)
        noise = np.random.default_rng(100 + seed).standard_normal(300)
        groups = ["one"] + ["none"] * 11
        shares.append(first_order(x, groups, x[:, 0] + noise, 2).by_group["none"])

    # Derived: uncorrected, 22 terms of 300 draws would take 22/300 of the residual's 12/13.
    uncorrected = 22 / 300 * 12 / 13
    assert np.mean(shares) < uncorrected / 3


def test_steady_answer_has_no_shares():
    """An answer that never moves gives nobody a share."""
    found = first_order(uniform(50, 2), ["one", "two"], np.full(50, 206.0), 1)

    assert found.by_group == {"one": 0.0, "two": 0.0}
    assert found.explained == 0


def test_too_few_draws_give_no_indices():
    """With fewer than three draws for each term of the fit there is no index."""
    assert first_order(uniform(20, 6), ["one"] * 6, uniform(20, 1)[:, 0], 1) is None
    assert first_order(uniform(21, 6), ["one"] * 6, uniform(21, 1)[:, 0], 1) is not None


# ------------------------------------------------------------------------------- whole rankings


def test_ranking_of_two_lognormal_inputs_is_theirs(checked):
    """Demand over capacity is a product of two lognormal inputs, and ranked as one."""
    spreads = {"application": 20, "clock": 10, "dwell": 0}
    found = propagate(one_activity(), 60, spreads_pct=spreads)
    ranked = ranking(found, "headroom_pct", "software")

    # Derived: of exp(a x - b y), the index of x is (exp(a^2) - 1)/(exp(a^2 + b^2) - 1).
    a2, b2 = ((np.log(1 + spread) / 1.2815516) ** 2 for spread in (0.2, 0.1))
    whole = np.expm1(a2 + b2)
    by_group = {rank.group: rank for rank in ranked.ranks}
    assert [rank.group for rank in ranked.ranks] == ["application", "clock"]
    assert by_group["application"].first_order == pytest.approx(np.expm1(a2) / whole, abs=0.02)
    assert by_group["clock"].first_order == pytest.approx(np.expm1(b2) / whole, abs=0.02)
    checked(
        "Uncertainty", "shares of two lognormal inputs in the variance of headroom",
        "the variance of a lognormal product, by hand", np.expm1([a2, b2]) / whole,
        [by_group[name].first_order for name in ("application", "clock")], kind="derived", abs=0.02,
    )  # fmt: skip
    # Derived: 40 sessions of 0.095 cores on 8 cores leave 52.5 %; a fifth more work 43 %. The
    # lattice of demand rounds the p95 by up to 0.02 %.
    assert by_group["application"].high == pytest.approx(100 - 47.5 * 1.2, abs=0.02)
    assert by_group["application"].low == pytest.approx(100 - 47.5 / 1.2, abs=0.02)
    assert by_group["clock"].high == pytest.approx(100 - 47.5 / 1.1, abs=0.02)
    assert ranked.sentence == (
        "Measure next: application work (a log of the CPU of desktops in use), first work. "
        f"{by_group['application'].first_order * 100:.0f} % of the variance of the headroom "
        "without the card comes from there. From its P10 to its P90, all else as given, it moves "
        "the headroom without the card from 60.4 to 43.0 % of capacity."
    )


def test_index_agrees_with_means_over_parts_of_an_input():
    """The index of one input equals the variance of the answer's mean over its parts."""
    data = to_data(default())
    data["host"] |= {"cores": 1, "memory_gib": 32}
    scenario = from_data(data | {"sessions": 2, "accelerator": {"cards": 0}})
    spreads = {"smt": 150} | dict.fromkeys(("habits", "roles", "software", "offloaded"), 0)
    found = propagate(scenario, 160, spreads_pct=spreads)
    answer = found.of("headroom_pct", "software").drawn
    score = found.scores[:, [each.group for each in found.inputs].index("smt")]

    # Independent: the given-data estimate by 16 equal parts, luck within the parts taken off.
    parts = np.array_split(answer[np.argsort(score)], 16)
    between = np.var([part.mean() for part in parts])
    luck = np.mean([part.var(ddof=1) for part in parts]) / 10 * 15 / 16
    expected = (between - luck) / answer.var()
    ranks = {rank.group: rank for rank in ranking(found, "headroom_pct", "software").ranks}
    assert expected > 0.2
    assert ranks["smt"].first_order == pytest.approx(expected, abs=0.06)
    assert ranks["dwell"].first_order == pytest.approx(0, abs=0.02)


def test_answer_that_nothing_moves_says_what_holds_it():
    """Where memory limits a host in every draw, nothing need be measured."""
    found = propagate(one_activity(memory_gib=100), 20)
    ranked = ranking(found, "rated_load", "software")

    assert all(rank.swing == 0 for rank in ranked.ranks)
    assert ranked.sentence == (
        "No uncertain input moves the rated load without the card: "
        "memory sets it in 100 % of the draws."
    )


def test_ranking_without_uncertain_inputs():
    """With every spread at 0 there is nothing to rank."""
    spreads = dict.fromkeys(("application", "dwell", "clock"), 0)
    ranked = ranking(propagate(one_activity(), 10, spreads_pct=spreads), "gain_sessions")

    assert ranked.ranks == ()
    assert ranked.sentence == "No uncertain input moves the sessions that the card adds."


def test_few_draws_are_ranked_by_one_at_a_time():
    """Without draws enough for indices the swing settles the order."""
    found = propagate(one_activity(), 10, spreads_pct={"clock": 40, "application": 20})
    ranked = ranking(found, "headroom_pct", "software")

    assert [rank.group for rank in ranked.ranks] == ["clock", "application", "dwell"]
    assert {rank.first_order for rank in ranked.ranks} == {None}


def test_unknown_answers_are_refused():
    """An answer that was not worked out is refused by name."""
    found = propagate(one_activity(), 10)

    with pytest.raises(InputError, match=r"^answer is 'hosts'; expected one of rated_load, "):
        ranking(found, "hosts", "software")
    with pytest.raises(InputError, match=r"^arm is 'both'"):
        ranking(found, "rated_load", "both")
