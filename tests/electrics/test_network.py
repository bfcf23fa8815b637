"""Node voltages against nodal analysis by hand, closed forms and conservation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from glowsim.electrics.network import Network, solve_network
from glowsim.errors import SolveError


def network(count, edges):
    start, end, ohm = zip(*edges, strict=True)
    return Network(count, np.array(start), np.array(end), np.array(ohm, float))


def constant(current):
    """Return loads that draw the same at any voltage."""
    current = np.asarray(current, float)
    return lambda volts: (current, np.zeros_like(current))


def by_hand(count, edges, source_v, current):
    """Return node voltages by nodal analysis, dense: sum of (Va - Vb)/R at each node = - load."""
    matrix, right = np.zeros((count, count)), -np.asarray(current, float)
    for a, b, ohm in edges:
        matrix[a, a] += 1 / ohm
        matrix[b, b] += 1 / ohm
        matrix[a, b] -= 1 / ohm
        matrix[b, a] -= 1 / ohm
    matrix[0], right[0] = np.eye(count)[0], source_v
    return np.linalg.solve(matrix, right)


def test_voltage_divider():
    # 12 V over 1 and 2 ohm with 1 A drawn between: superposition gives 12 x 2/3 - 1 x 2/3 = 7.333.
    edges = [(0, 1, 1.0), (1, 2, 2.0)]

    def load(volts):
        # Node 2 is held at 0 V by a very good conductor to nowhere: a load of 1e6 A/V.
        return np.array([0, 1, 1e6 * volts[2]]), np.array([0, 0, 1e6])

    assert_allclose(solve_network(network(3, edges), 12.0, load)[1], 22 / 3, rtol=1e-6)


@pytest.mark.parametrize("seed", range(8))
def test_random_meshes_agree_with_nodal_analysis(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 30))
    tree = [(int(rng.integers(k)), k, rng.uniform(0.01, 2)) for k in range(1, count)]
    loops = [
        (int(a), int(b), rng.uniform(0.01, 2))
        for a, b in (rng.choice(count, 2, replace=False) for _ in range(count // 2))
    ]
    current = np.concatenate([[0.0], rng.uniform(0, 0.5, count - 1)])
    found = solve_network(network(count, tree + loops), 5.0, constant(current))
    assert_allclose(found, by_hand(count, tree + loops, 5.0, current), rtol=1e-8, atol=1e-8)


def test_currents_through_the_edges_add_up_to_the_loads():
    edges = [(0, 1, 0.3), (1, 2, 0.2), (1, 3, 0.7), (2, 3, 0.4)]
    current = np.array([0, 0.1, 0.2, 0.4])
    net = network(4, edges)
    through = net.currents_a(solve_network(net, 5.0, constant(current)))
    assert_allclose(through[0], current.sum(), rtol=1e-9)
    assert_allclose(through[1] + through[2], current[2] + current[3], rtol=1e-9)


def fading(full_a, low_v, high_v):
    """Return loads whose current rises in a straight line between two voltages."""

    def load(volts):
        free = (volts - low_v) / (high_v - low_v)
        inside = (free > 0) & (free < 1)
        return full_a * np.clip(free, 0, 1), np.where(inside, full_a / (high_v - low_v), 0.0)

    return load


def test_a_fading_load_in_closed_form():
    # One resistor R to a load I = I0 (V - a)/(b - a): V = (V0 + R I0 a/(b - a))/(1 + R I0/(b - a)).
    source, ohm, full, low, high = 5.0, 2.0, 1.5, 2.5, 3.8
    slope = full / (high - low)
    volts = (source + ohm * slope * low) / (1 + ohm * slope)
    assert low < volts < high
    load = fading(np.array([0, full]), low, high)
    found = solve_network(network(2, [(0, 1, ohm)]), source, load)
    assert_allclose(found[1], volts, rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    ohms=st.lists(st.floats(1e-4, 50), min_size=1, max_size=12),
    full=st.floats(0, 10),
    source=st.floats(0.1, 12),
    first_guess=st.floats(0, 12),
)
def test_every_chain_of_fading_loads_balances(ohms, full, source, first_guess):
    count = len(ohms) + 1
    net = network(count, [(k, k + 1, ohm) for k, ohm in enumerate(ohms)])
    load = fading(np.concatenate([[0], np.full(count - 1, full)]), 2.5, 3.8)
    volts = solve_network(net, source, load, np.full(count, first_guess))
    assert np.all(np.diff(volts) <= 5e-6)
    assert volts.min() >= -5e-6
    drawn, _ = load(volts)
    assert_allclose(net.currents_a(volts)[0], drawn.sum(), rtol=1e-6, atol=1e-4)
    # However it starts, the same voltages: there is one solution.
    assert_allclose(volts, solve_network(net, source, load), atol=5e-6)


def test_what_cannot_balance_is_said():
    # A load of constant power that the wire cannot bring has no solution: 4 R P > V^2.
    def hungry(volts):
        safe = np.maximum(volts, 1e-3)
        power = np.array([0.0, 10.0])
        return power / safe, -power / safe**2

    with pytest.raises(SolveError, match="did not balance"):
        solve_network(network(2, [(0, 1, 10.0)]), 5.0, hungry)
