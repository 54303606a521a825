"""The simulation holds where our logic stands, and finds each step of it that is left out."""

import pytest

from tests.faults import simulation


def test_everything_holds_through_any_accident():
    assert [simulation.run(seed, steps=200) for seed in range(30)] == [None] * 30


@pytest.mark.parametrize("step", simulation.BREAKABLE)
def test_a_step_that_is_left_out_is_found(step):
    found = (simulation.run(seed, steps=200, broken=step) for seed in range(100))

    assert any(found), simulation.BREAKABLE[step]


def test_a_failing_seed_fails_again_and_tells_its_steps(capsys):
    seed = next(seed for seed in range(100) if simulation.run(seed, steps=200, broken="effect"))

    assert simulation.main(seeds=0, steps=200, seed=seed, broken="effect") == 1
    first = capsys.readouterr().out
    simulation.main(seeds=0, steps=200, seed=seed, broken="effect")
    assert capsys.readouterr().out == first
    assert "phone sends load" in first
    assert f"seed {seed}: " in first


def test_a_failing_seed_is_printed(capsys):
    assert simulation.main(seeds=60, steps=200, seed=None, broken="floor") == 1
    assert "replay it with --seed" in capsys.readouterr().out


def test_only_what_can_be_left_out_is(capsys):
    assert simulation.main(seeds=1, steps=1, seed=None, broken="everything") == 2
