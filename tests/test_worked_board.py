"""The worked board of docs/reduction.md: every figure there, by plain arithmetic and by us."""

import math
from pathlib import Path

import numpy as np
import pytest
from simulated import noon_of

from orient.observation import byhand
from orient.observation.board import Board

PAGE = (Path(__file__).parents[1] / "docs" / "reduction.md").read_text("utf-8")
HEIGHT, RADIUS, LATITUDE, MORNING, AFTERNOON = 300.0, 350.0, 40.0, 286.15, 14.02


def stands_there(text):
    assert text in PAGE, text


def test_the_page_is_arithmetic_that_holds():
    altitude = math.degrees(math.atan(HEIGHT / RADIUS))
    stands_there(f"{altitude:.2f}°")
    declination = math.radians(-0.04)
    sine = math.sin(math.radians(altitude)) - math.sin(math.radians(LATITUDE)) * math.sin(
        declination
    )
    cosine = sine / (math.cos(math.radians(LATITUDE)) * math.cos(declination))
    hour_angle = math.degrees(math.acos(cosine))
    stands_there(f"*t* = {hour_angle:.1f}°")
    minutes = round(2 * hour_angle * 4)
    stands_there(f"{minutes // 60} h {minutes % 60} min apart")
    halving = (MORNING + AFTERNOON + 360.0) / 2
    stands_there(f"= {halving:.3f}°")
    change = 0.988 * 2 * hour_angle / 15
    stands_there(f"rose by {change:.2f}′")
    term = change / 2 / math.cos(math.radians(LATITUDE)) / math.sin(math.radians(hour_angle))
    stands_there(f"= {term:.2f}′ = {term / 60:.3f}°")
    stands_there(f"{halving:.3f}° − {term / 60:.3f}° = {halving - term / 60:.2f}°")


def test_the_pair_reduces_to_the_same():
    theta = np.radians([MORNING, AFTERNOON])
    board = Board(
        latitude_deg=LATITUDE,
        longitude_deg=0.0,
        noon_utc_s=noon_of(0.0, 78),
        height_mm=HEIGHT,
        x_mm=RADIUS * np.sin(theta),
        y_mm=RADIUS * np.cos(theta),
        watch_utc_s=np.full(2, np.nan),
        half=np.array([-1, 1], dtype=np.int8),
        ring=np.array(["A", "A"]),
    )
    pair = byhand.pairs(board, board.half)
    assert np.degrees(pair.azimuth_rad) == pytest.approx(30.0, abs=0.003)
    stands_there(f"gives, for the pair, {np.degrees(pair.terms['marking']) * 60:.1f}′")
    stands_there(f"tan 40° = {np.degrees(pair.terms['level']) * 60:.1f}′")
    total = np.degrees(pair.azimuth_u_rad) * 60
    stands_there(f"Together {total:.1f}′, or ±{1.96 * total:.0f}′")
    radial = byhand.propagation.altitude_sensitivity(
        board.x_mm,
        board.y_mm,
        board.tips_and_partials(
            board.times_of_lengths(board.length_mm, board.half > 0),
            byhand.BoardState(np.radians(30.0), height_mm=HEIGHT),
        )[1],
    )
    outward = np.stack([board.x_mm, board.y_mm], axis=-1) / RADIUS
    one_mm = np.abs(np.sum(radial * outward, axis=-1)).mean() / 2
    stands_there(f"about {np.degrees(one_mm) * 60:.0f}′ here")
