"""Where one input changes a decision: steps at known places (closed form), and a well that goes too deep."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from planner.doubt.changed import brighter, changed
from planner.doubt.switch import INPUTS, State, Switch, Widths, columns_of, one_input, switches
from planner.engine import assess as engine
from planner.engine.choose import choose
from planner.engine.room import make_room
from planner.texts import texts
from tests.engine import bed

STAYS = State(True, True, True, 0)
WIDTHS = {"rest_level": 4.0, "drawdown": 2.5, "yield": 1.5, "demand": 1.2, "sun": 0.1, "price": 1.15}


def stepping(at: float, there: State):
    """A decision that changes at a place, in half-widths; cost rises by a tenth in a half-width."""

    def look(_name: str, z: float, _widths: dict[str, float]) -> tuple[State, float]:
        beyond = z >= at if at > 0 else z <= at
        return (there if beyond else STAYS), 1.0 + 0.1 * z

    return look


@pytest.mark.parametrize("at", [0.37, -0.81])
def test_a_step_is_found_where_it_is(at: float) -> None:
    found = one_input(stepping(at, STAYS._replace(built=False)), "rest_level", WIDTHS, lambda z: 40.0 + 4.0 * z)
    assert found.to == "no_design"
    assert found.value == pytest.approx(40.0 + 4.0 * at, abs=4.0 / 64.0)
    assert found.swing == pytest.approx(1.1 / 0.9 - 1.0)


def test_a_decision_weighs_more_than_a_family() -> None:
    near = Switch("demand", 0.1, 11.0, "surface", 0.2)
    far = Switch("yield", -0.9, 2.0, "below_minimum_coverage", 0.1)
    row = columns_of([near, far])
    assert row["switch_input"] == "yield"
    assert row["switch_text"] == "yield below 2 m³/h: less than the plan's least share of the demand is met"


def test_without_a_change_the_cost_tells() -> None:
    row = columns_of([Switch(name, math.inf, math.nan, "", 0.01 * n) for n, name in enumerate(INPUTS)])
    assert row["switch_input"] == "price"
    assert row["switch_to"] == ""
    assert "prices (by 5 %)" in str(row["switch_text"])


def test_where_nothing_can_be_built_no_price_helps() -> None:
    """A well of 400 m under a budget: no set, whatever prices are."""
    one = np.ones(1)
    widths = Widths(3 * one, 1.3 * one, 1.2 * one, 1.2 * one, 1.15 * one, 0.08 * one, 400 * one, 3 * one, one > 0)
    row = switches(bed.one_site(static_m=400.0), widths, bed.context(), 0.5)[0]
    assert row["switch_to"] == row["switch_input"] == ""
    assert row["switch_text"] == "No single input makes a set possible within its range"


def test_every_change_has_its_words() -> None:
    known = texts()
    changes = ("no_design", "designable", "below_minimum_coverage", "above_minimum_coverage", "above_funded_cost")
    for to in (*changes, "within_funded_cost", "helical_rotor", "centrifugal", "surface"):
        assert f"switch_to_{to}" in known
    assert all(f"switch_{name}" in known and f"switch_unit_{name}" in known for name in INPUTS)


def test_a_changed_site_keeps_what_was_not_changed() -> None:
    site = bed.bench(bed.one_site()).site
    other = changed(site, deeper_m=3.0, drawdown=2.0, well_yield=0.5, demand=1.5)
    assert np.allclose(other["rest_m"] - site["rest_m"], 3.0)
    assert other["level_limit_m"] == pytest.approx(
        43.0 + 2.0 / 3.0 * (site["deepest_intake_m"] - site["submergence_m"] - 43.0)
    )
    assert other["b_d_m2"] == 2.0 * site["b_d_m2"]
    assert other["safe_volume_m3_day"] == 0.5 * site["safe_volume_m3_day"]
    assert other["lift_m"] == site["lift_m"]
    assert site["rest_rule_m"] == 40.0  # the first is left alone


def test_brighter_light_is_a_larger_array() -> None:
    """Half as much again of light on an array gives what an array half as large again gives, but for its clip."""
    bench = bed.bench(bed.one_site())
    light = brighter(bench.light, 1.5)
    assert np.allclose(light.steps["power"], 1.5 * bench.light.steps["power"])
    assert bench.fit(40) is None or bench._replace(light=light).fit(40).water(1_000.0).used_m3_year == pytest.approx(
        bench.fit(40).water(1_500.0).used_m3_year, rel=1e-9
    )


def test_a_well_that_may_be_too_deep() -> None:
    """At the switch value a pump fits; a little beyond, the whole search finds none (snapshot of no number)."""
    sites = bed.one_site(static_m=60.0, deepest_intake_m=75.0, level_limit_m=70.0)
    one = np.ones(1)
    widths = Widths(40.0 * one, 1.3 * one, 1.1 * one, 1.1 * one, 1.1 * one, 0.05 * one, 60.0 * one, 3.0 * one, one > 0)
    row = switches(sites, widths, bed.context(), math.nan)[0]
    assert row["switch_input"] == "rest_level"
    assert row["switch_to"] in {"no_design", "below_minimum_coverage"}
    bench = bed.bench(sites)
    deeper = float(row["switch_value"]) - 60.0
    outcomes = []
    for step in (-2.0, 0.1):
        site = changed(bench.site, deeper_m=deeper + step)
        context = bench.context
        choice = choose(site, bench.light, context.market, context.rules, make_room(context.market))
        covered = 0.0 if choice.family < 0 else choice.chosen.used_m3_year / (365.0 * 10.0)
        outcomes.append(covered >= context.plan.equipment.minimum_coverage)
    assert outcomes == [True, False]


def test_sites_do_not_depend_on_their_neighbours() -> None:
    one, other = bed.one_site(inventory_row=1), bed.one_site(80.0, 5.0, inventory_row=2)
    both = bed.together([one, other])
    pair = np.ones(2)
    widths = Widths(
        3.0 * pair, 2.5 * pair, 1.5 * pair, 1.2 * pair, 1.15 * pair, 0.08 * pair, pair * 40, pair * 3, pair > 0
    )
    alone = dataclasses.replace(widths, **{f.name: getattr(widths, f.name)[1:] for f in dataclasses.fields(widths)})
    together = switches(both, widths, bed.context(), 0.5)
    single = switches(other, alone, bed.context(), 0.5)
    assert repr(together[1]) == repr(single[0])
    assert engine.assess is not None
