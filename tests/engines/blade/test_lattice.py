"""Hidden Markov chains against published worked examples, a reference library and writing every path out."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hmmlearn.hmm import CategoricalHMM
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from bittern.engines.blade.lattice import find_best_paths, find_chances

MOVES = np.log([[0.7, 0.3], [0.4, 0.6]])
STARTS = np.log([0.6, 0.4])


def lay(emissions, seen, starts=STARTS, moves=MOVES):
    """Return scores of states and pairs for one chain of observations."""
    states = np.log(np.asarray(emissions))[:, list(seen)].T.copy()
    states[0] += starts
    return states[None], np.broadcast_to(moves, (1, len(seen) - 1, *moves.shape))


def test_viterbi_of_the_published_example_of_health_and_fever():
    """Healthy, healthy, fever with 0.01512; all paths 0.03628 (encyclopaedia, "Viterbi algorithm")."""
    states, pairs = lay([[0.5, 0.4, 0.1], [0.1, 0.3, 0.6]], (0, 1, 2))
    paths, scores = find_best_paths(states, pairs, 1)
    assert paths[0, 0].tolist() == [0, 0, 1]
    assert np.exp(scores[0, 0]) == pytest.approx(0.01512, abs=5e-6)
    assert np.exp(find_chances(states, pairs).log_total[0]) == pytest.approx(0.03628, abs=5e-6)


def test_viterbi_of_the_published_example_of_weather():
    """Sunny, rainy, rainy with 0.01344; all paths 0.033612 (published trace, states rainy and sunny)."""
    states, pairs = lay([[0.1, 0.4, 0.5], [0.6, 0.3, 0.1]], (0, 1, 2))
    paths, scores = find_best_paths(states, pairs, 1)
    assert paths[0, 0].tolist() == [1, 0, 0]
    assert np.exp(scores[0, 0]) == pytest.approx(0.01344, abs=5e-7)
    assert np.exp(find_chances(states, pairs).log_total[0]) == pytest.approx(0.033612, abs=5e-8)


def test_smoothing_of_the_published_example_of_umbrellas():
    """Five days of umbrellas, T T F T T: .8673 .8204 .3075 .8204 .8673 (Russell and Norvig's umbrella world).

    The published prior of one half holds for the day before the first: it stays one half after a move.
    """
    states, pairs = lay(
        [[0.9, 0.1], [0.2, 0.8]],
        (0, 0, 1, 0, 0),
        starts=np.log([0.5, 0.5]),
        moves=np.log([[0.7, 0.3], [0.3, 0.7]]),
    )
    p_rain = find_chances(states, pairs).p_state[0, :, 0]
    assert p_rain == pytest.approx([0.8673, 0.8204, 0.3075, 0.8204, 0.8673], abs=5e-5)
    paths, _ = find_best_paths(states, pairs, 1)
    assert paths[0, 0].tolist() == [0, 0, 1, 0, 0]


chains = st.tuples(st.integers(1, 4), st.integers(1, 3)).flatmap(
    lambda size: st.tuples(
        arrays(np.float64, (2, size[0], size[1]), elements=st.floats(-5, 5)),
        arrays(np.float64, (2, size[0] - 1, size[1], size[1]), elements=st.floats(-5, 5)),
    )
)


@given(chains, st.integers(1, 6))
def test_paths_and_chances_are_those_of_writing_every_path_out(chain, count):
    states, pairs = chain
    paths, scores = find_best_paths(states, pairs, count)
    chances = find_chances(states, pairs)
    n, d = states.shape[1:]
    for number in range(2):
        every = {
            path: sum(states[number, place, state] for place, state in enumerate(path))
            + sum(pairs[number, place, path[place], path[place + 1]] for place in range(n - 1))
            for path in product(range(d), repeat=n)
        }
        best = sorted(every.values(), reverse=True)[:count]
        shown = scores[number][np.isfinite(scores[number])]
        assert shown == pytest.approx(best)
        assert len(shown) == min(count, d**n)
        found = [tuple(path) for path in paths[number][: len(shown)].tolist()]
        assert len(set(found)) == len(found)
        assert [every[path] for path in found] == pytest.approx(best)
        total = np.logaddexp.reduce(list(every.values()))
        assert chances.log_total[number] == pytest.approx(total)
        for place, state in product(range(n), range(d)):
            mine = [score for path, score in every.items() if path[place] == state]
            p = np.exp(np.logaddexp.reduce(mine) - total)
            assert chances.p_state[number, place, state] == pytest.approx(p)


def test_a_forbidden_step_is_never_taken():
    states = np.array([[[0.0, -1.0], [-1.0, 0.0]]])
    pairs = np.array([[[[0.0, -np.inf], [-np.inf, 0.0]]]])
    paths, scores = find_best_paths(states, pairs, 4)
    assert {tuple(path) for path in paths[0, :2].tolist()} == {(0, 0), (1, 1)}
    assert scores[0].tolist() == [-1.0, -1.0, -np.inf, -np.inf]


@pytest.mark.parametrize("seed", range(5))
def test_paths_and_chances_are_those_of_a_reference_library(seed):
    """Beside hmmlearn's CategoricalHMM on random models."""
    rng = np.random.default_rng(seed)
    states_count, symbols, length = 4, 5, 12
    model = CategoricalHMM(n_components=states_count, init_params="", n_features=symbols)
    model.startprob_ = rng.dirichlet(np.ones(states_count))
    model.transmat_ = rng.dirichlet(np.ones(states_count), states_count)
    model.emissionprob_ = rng.dirichlet(np.ones(symbols), states_count)
    seen = rng.integers(0, symbols, length)
    states, pairs = lay(model.emissionprob_, seen, np.log(model.startprob_), np.log(model.transmat_))
    log_best, path = model.decode(seen[:, None])
    paths, scores = find_best_paths(states, pairs, 1)
    assert paths[0, 0].tolist() == path.tolist()
    assert scores[0, 0] == pytest.approx(log_best)
    log_total, p_state = model.score_samples(seen[:, None])
    chances = find_chances(states, pairs)
    assert chances.log_total[0] == pytest.approx(log_total)
    assert chances.p_state[0] == pytest.approx(p_state)
