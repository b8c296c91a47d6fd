"""What a set's controls do, learnt from pairs of measurements: against general libraries, and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from analysis.controls.advice import Error, solve_steps
from analysis.controls.judge import Odd, judged
from analysis.controls.response import Moved, Pair, Turning, fit_responses
from tests.trials.controls.run import LINKS, NAMES, QUANTITIES, TOLERANCES, WORLDS, Set, learnt, rounds_needed

EXACT = Turning(steps=0.0, share=0.0, lost=0.0)


def _pairs(steps: np.ndarray, changes: np.ndarray, noise: np.ndarray) -> list[Pair]:
    return [
        Pair(
            turned={name: float(n) for name, n in zip(NAMES, turned, strict=False) if n},
            moved={name: Moved(float(c), float(s)) for name, c, s in zip(QUANTITIES, change, spread, strict=False)},
        )
        for turned, change, spread in zip(steps, changes, noise, strict=True)
    ]


def test_without_anything_known_it_is_weighted_least_squares() -> None:
    """Exact turns and no links: the responses and their covariance are those of numpy's weighted least squares."""
    chance = np.random.default_rng(3)
    steps = chance.integers(-9, 10, (12, 3)).astype(float)
    noise = chance.uniform(0.05, 0.3, (12, 2))
    changes = steps @ chance.uniform(-1, 1, (3, 2)) + noise * chance.standard_normal((12, 2))
    fit = fit_responses(_pairs(steps, changes, noise), {}, dict.fromkeys(QUANTITIES[:2], 1.0), EXACT)
    assert fit is not None
    for j in range(2):
        weighted = steps / noise[:, j : j + 1]
        solved = np.linalg.lstsq(weighted, changes[:, j] / noise[:, j], rcond=None)[0]
        spread = np.sqrt(np.diag(np.linalg.inv(weighted.T @ weighted)))
        order = [fit.controls.index(name) for name in NAMES[:3]]
        assert fit.step[order, j] == pytest.approx(solved, abs=1e-4)
        assert fit.uncertainty[order, j] == pytest.approx(spread, rel=1e-3)


def test_units_do_not_matter() -> None:
    """The same pairs in micrometres, with tolerances to match: a thousand times the response, the same steps."""
    steps = np.diag([5.0, 6.0, 7.0, 4.0, 5.0, 8.0])
    changes, noise = steps @ np.diag([0.5, -0.2, 0.3, 0.4, 0.2, 0.1]), np.full((6, 6), 0.02)
    plain = fit_responses(_pairs(steps, changes, noise), LINKS, TOLERANCES)
    fine = fit_responses(_pairs(steps, 1000 * changes, 1000 * noise), LINKS, dict.fromkeys(QUANTITIES, 1000.0))
    assert plain is not None
    assert fine is not None
    assert fine.step == pytest.approx(1000 * plain.step, rel=1e-6)
    assert fine.uncertainty == pytest.approx(1000 * plain.uncertainty, rel=1e-6)


def test_an_inexact_turn_is_in_the_uncertainty() -> None:
    """One turn of 5 steps, read without noise: the response is not known better than the turn is."""
    pair = _pairs(np.array([[5.0]]), np.array([[2.0]]), np.array([[1e-3]]))
    fit = fit_responses(pair, LINKS, {"centre": 1.0}, Turning(steps=0.5, share=0.0, lost=0.0))
    assert fit is not None
    assert fit.of("control 0", "centre")[0] == pytest.approx(0.4, rel=0.02)
    assert fit.of("control 0", "centre")[1] == pytest.approx(0.4 * 0.5 / 5, rel=0.05)


def test_turns_are_solved_together() -> None:
    """With exact responses the steps are those of scipy's least squares, each within half a step, and undo errors."""
    response = np.array([[0.5, 0.1, -0.1], [0.1, 0.3, 0.1], [-0.1, 0.1, 0.2]])
    steps = np.concatenate([20 * np.eye(3), -20 * np.eye(3)])
    names = QUANTITIES[:3]
    fit = fit_responses(_pairs(steps, steps @ response, np.full((6, 3), 1e-3)), {}, dict.fromkeys(names, 1.0), EXACT)
    assert fit is not None
    off = np.array([4.0, -3.0, 2.0])
    errors = {name: Error(value=float(v), uncertainty=0.01, tolerance=0.3) for name, v in zip(names, off, strict=True)}
    solved = solve_steps(fit, errors)
    exact = lsq_linear(response.T, -off).x
    assert [turn.steps for turn in solved.turns] == pytest.approx(exact, abs=1.0)
    assert all(one.is_right for one in solved.left)
    assert {one.quantity for one in solved.left} == set(names)


def test_right_or_uncertain_errors_ask_for_no_turn() -> None:
    """Errors within their tolerances, or within two of their uncertainties, turn nothing."""
    steps = 10 * np.eye(2)
    fit = fit_responses(_pairs(steps, 0.5 * steps, np.full((2, 2), 0.01)), LINKS, dict.fromkeys(QUANTITIES[:2], 1.0))
    assert fit is not None
    right = {name: Error(value=0.9, uncertainty=0.01, tolerance=1.0) for name in QUANTITIES[:2]}
    uncertain = {name: Error(value=5.0, uncertainty=3.0, tolerance=1.0) for name in QUANTITIES[:2]}
    assert not solve_steps(fit, right).turns
    assert not solve_steps(fit, uncertain).turns


def test_a_control_without_a_clear_response_is_unknown() -> None:
    """Two controls without links, only ever turned together: nothing says which did what, and none is advised."""
    steps = np.array([[5.0, 5.0], [5.0, 5.0]])
    fit = fit_responses(_pairs(steps, steps @ np.eye(2), np.full((2, 2), 0.01)), {}, dict.fromkeys(QUANTITIES[:2], 1.0))
    assert fit is not None
    solved = solve_steps(fit, {"centre": Error(value=3.0, uncertainty=0.01, tolerance=1.0)})
    assert solved.unknown == NAMES[:2]
    assert not solved.turns


@pytest.mark.parametrize(
    ("last", "odd"), [(0.0, Odd.NOTHING), (-2.0, Odd.OPPOSITE), (2.0, None)], ids=["nothing", "opposite", "as before"]
)
def test_a_turn_that_is_strange_is_named(last: float, odd: Odd | None) -> None:
    """After two good pairs, a turn without effect or the other way is named and not fitted; a good one is not."""
    changes = np.array([[2.0], [-2.0], [last]])
    pairs = _pairs(np.array([[5.0], [-5.0], [5.0]]), changes, np.full((3, 1), 0.02))
    fit, strange = judged(pairs, LINKS, {"centre": 0.5})
    assert [(one.control, one.odd) for one in strange] == ([] if odd is None else [("control 0", odd)])
    assert fit is not None
    assert fit.of("control 0", "centre")[0] == pytest.approx(0.4, rel=0.1)


def test_a_control_that_turned_round_for_good_is_learnt_anew() -> None:
    """Two turns in succession that do the opposite: the newer ones are believed."""
    changes = np.array([[2.0], [2.0], [-2.0], [-2.0]])
    fit, strange = judged(_pairs(np.full((4, 1), 5.0), changes, np.full((4, 1), 0.02)), LINKS, {"centre": 0.5})
    assert not strange
    assert fit is not None
    assert fit.of("control 0", "centre")[0] == pytest.approx(-0.4, rel=0.1)


def test_a_first_turn_without_effect_is_named() -> None:
    """A control that nothing is known of is turned alone, and all is as it was."""
    pairs = _pairs(np.array([[6.0]]), np.array([[0.01, -0.01]]), np.full((1, 2), 0.02))
    _, strange = judged(pairs, LINKS, dict.fromkeys(QUANTITIES[:2], 0.5))
    assert [(one.control, one.odd, one.expected) for one in strange] == [("control 0", Odd.NOTHING, None)]


def test_a_control_that_moves_something_else_is_named() -> None:
    """Linked to the centre, it moves the size: that is said."""
    pairs = _pairs(np.array([[5.0], [-6.0]]), np.array([[0.01, 2.0], [0.0, -2.4]]), np.full((2, 2), 0.02))
    _, strange = judged(pairs, LINKS, dict.fromkeys(QUANTITIES[:2], 0.5))
    assert [(one.control, one.odd, one.quantity) for one in strange] == [("control 0", Odd.OTHER, "size")]


def test_responses_are_learnt_and_undone() -> None:
    """Four invented sets whose controls stick: after three pairs most responses are within 10 %, no figure is beyond
    five uncertainties, and at most five rounds of advice bring all errors within tolerance."""
    chance = np.random.default_rng(5)
    relative: list[float] = []
    for _ in range(4):
        own, *away = learnt(WORLDS[0], chance)
        relative += own
        assert max(abs(value) for some in away for value in some) < 5
        assert rounds_needed(WORLDS[0], chance, [], Set(WORLDS[0], chance)) <= 5
    assert np.mean(np.array(relative) < 0.1) > 0.8
