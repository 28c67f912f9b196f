"""Windows, species sheets and plans."""

import pytest

from roewatch.breeding.plan import Plan, Step
from roewatch.room.quantity import Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.room.window import Window


def test_the_bounds_themselves_are_inside() -> None:
    window = Window(low=24.0, high=27.0)
    assert [window.outside_by(v) for v in (24.0, 27.0, 23.5, 27.25)] == [0, 0, -0.5, 0.25]


def test_a_window_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match=r"low 27 is not below high 24"):
        Window(low=27.0, high=24.0)


def test_a_stage_without_a_window_of_its_own_has_the_one_for_holding() -> None:
    holding, eggs = Window(low=22.0, high=28.0), Window(low=25.0, high=26.0)
    sheet = SpeciesSheet(
        id="x",
        latin="X y",
        windows={
            Stage.HOLDING: {Quantity.TEMPERATURE: holding},
            Stage.EGGS: {Quantity.TEMPERATURE: eggs},
        },
        rates={},
    )
    assert sheet.window(Stage.EGGS, Quantity.TEMPERATURE) == eggs
    assert sheet.window(Stage.FRY, Quantity.TEMPERATURE) == holding
    assert sheet.window(Stage.FRY, Quantity.PH) is None


def test_a_plan_means_a_straight_line_between_its_steps_and_nothing_beyond() -> None:
    steps = (Step(at_ms=0, value=7.2), Step(at_ms=1000, value=6.0))
    plan = Plan(tank="A1", quantity=Quantity.PH, steps=steps)
    assert plan.meant_at(500) == pytest.approx(6.6)
    assert plan.meant_at(-1) is None
    assert plan.meant_at(1001) is None
