"""What is said to help was tried: boards made with that improvement are as good as was told."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from demo_tables import part_of_demo
from simulated import random_day, simulated

from orient import cli
from orient.files import write_whole
from orient.observation.advice import would_help
from orient.observation.reduction import reduce_board


@pytest.mark.parametrize("watch", ["trusted", "running", "none"])
@pytest.mark.parametrize("latitude", [-33.0, 12.0, 52.0])
def test_each_improvement_gives_the_figure_that_was_told(watch, latitude):
    generator = np.random.default_rng(5)
    made = simulated(generator, latitude, 10.0, 100, watch=watch)
    reduced = reduce_board(made.board)
    now = float(np.degrees(reduced.fit.azimuth_u_rad))
    found = would_help(made.board, reduced.fit)
    assert found
    for each in found:
        if each.name == "watch":
            better = replace(
                made.board,
                watch="trusted",
                watch_error_s=made.truth.watch_fast_s,
                tolerances=replace(made.board.tolerances, watch_sd_s=1.0),
            )
        else:
            half = getattr(made.board.tolerances, each.name) / 2
            better = replace(
                made.board, tolerances=replace(made.board.tolerances, **{each.name: half})
            )
        if each.name == "mark_sd_mm":
            # The marks themselves must then be finer, or their scatter contradicts it.
            fit = reduced.fit
            finer = replace(
                better,
                x_mm=better.x_mm - fit.residual_mm[:, 0] / 2,
                y_mm=better.y_mm - fit.residual_mm[:, 1] / 2,
            )
            better = finer
        tried = float(np.degrees(reduce_board(better).fit.azimuth_u_rad))
        assert tried == pytest.approx(each.u_deg, rel=0.1)
        assert each.u_deg < 0.95 * now


@pytest.mark.long
def test_a_watch_to_the_second_is_the_first_advice_on_ordinary_boards():
    generator = np.random.default_rng(6)
    first = [
        would_help(made.board, reduce_board(made.board).fit)[0].name
        for made in (random_day(generator) for _ in range(30))
    ]
    assert first.count("watch") > 20


def test_the_reference_line_is_named_where_it_limits():
    made = random_day(np.random.default_rng(7))
    fit = reduce_board(made.board).fit
    coarse = 5 * float(np.degrees(fit.azimuth_u_rad))
    best = would_help(made.board, fit, coarse)[0]
    assert best.name == "reference"
    assert best.u_deg == pytest.approx(np.hypot(coarse / 2, coarse / 5))


@pytest.mark.long
def test_reduce_says_it_with_the_figures_of_the_row(tmp_path):
    """Through the command: the ± that the sentence begins from is that of the line."""
    run = CliRunner()
    write_whole(tmp_path / "part", part_of_demo("petrel-1"))
    folder = str(tmp_path / "part")
    (row,) = json.loads(run.invoke(cli.orient, ["reduce", folder, "--format", "json"]).stdout)
    said = " ".join(run.invoke(cli.orient, ["reduce", folder, "--verbose"]).stdout.split())
    now = 1.959964 * row["reference_azimuth_u_deg"]
    assert "the time of each mark, by a watch set to the second" in said
    assert f"in place of ±{now:.2f}° (95 %)" in said
