"""The user's price book: partial, told, refused; currency and inflation; prices act, and only upwards."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from planner.catalogue.arrays import HELICAL
from planner.catalogue.loader import Catalogue, load_catalogue
from planner.catalogue.quotes import counted
from planner.engine.assess import Context, make_context
from planner.engine.cost import design_cost
from planner.engine.design import no_designs
from planner.errors import CatalogueError
from planner.plan import LoadedPlan, read_plan
from planner.tables.prices import price_findings, price_record
from tests.engine import bed

HEAD = "item,unit,price,currency,price_year,source\n"
SHARES = {"installation_share", "om_equipment_share", "om_scheme_share", "om_tank_share", "supervision_share"}


def plan_with(folder: Path, text: str = "", book: str = "") -> LoadedPlan:
    (folder / "sites.csv").write_text("latitude,longitude\n-12,30\n", encoding="utf-8")
    if book:
        (folder / "book.csv").write_text(HEAD + book, encoding="utf-8")
        text = f'[equipment]\nprices = "book.csv"\n{text}'
    path = folder / "plan.toml"
    path.write_text(f'[inventory]\nfile = "sites.csv"\n{text}', encoding="utf-8")
    return read_plan(path)


def told(plan: LoadedPlan) -> dict[str, tuple[str, str]]:
    return {one.rule: (one.severity, one.old_value) for one in price_findings(load_catalogue(plan), plan)}


def test_without_a_book_all_prices_are_illustrative(tmp_path: Path) -> None:
    plan = plan_with(tmp_path)
    catalogue = load_catalogue(plan)
    count = counted(catalogue.quotes)
    assert count["user"] == 0
    every = {*catalogue.pump_ids, *catalogue.drive_ids, *catalogue.module_ids, *catalogue.riser_ids}
    assert every | set(catalogue.prices._fields) <= set(catalogue.quotes)
    assert told(plan) == {"illustrative_prices": ("info", f"{count['illustrative']} of {count['illustrative']} prices")}


def test_a_partial_book_falls_back_and_is_told(tmp_path: Path) -> None:
    rows = "tap_stand,each,500,USD,2025,tender 7\nsupervision_share,share,0.05,,,contract\nM450,Wp,0.2,USD,2026,\n"
    rows += "fence_site,site,950,USD,2026,illustrative: copied\n"
    plan = plan_with(tmp_path, book=rows)
    catalogue = load_catalogue(plan)
    assert (catalogue.prices.tap_stand, catalogue.prices.supervision_share) == (500.0, 0.05)
    assert catalogue.prices.wellhead_civil == 900.0  # the illustrative book's
    record = price_record(catalogue)
    assert record["user"] == 3  # a copied row is none of the user's
    assert set(record["user_items"]) == {"tap_stand", "supervision_share", "M450"}  # type: ignore[call-overload]
    assert record["user_items"]["tap_stand"] == {  # type: ignore[index]
        "price_year": 2025, "currency": "USD", "file": "book.csv", "source": "tender 7",
    }  # fmt: skip
    severity, names = told(plan)["illustrative_prices"]
    assert severity == "warning"
    assert "wellhead_civil" in names and "fence_site" in names
    assert "tap_stand" not in names and "M450" not in names


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("tapstand,each,500,USD,2026,", "row 1 (tapstand), column item: found 'tapstand'; expected an item of"),
        ("tapstand,each,500,USD,2026,", "; the nearest is 'tap_stand'"),
        ("cloth,each,500,USD,2026,", "found 'cloth'"),
        ("tap_stand,each,-500,USD,2026,", "row 1 (tap_stand), column price: found -500"),
        ("tap_stand,each,\"1,5\",USD,2026,", "row 1 (tap_stand), column price: found '1,5'"),
        ("tap_stand,site,500,USD,2026,", "row 1 (tap_stand), column unit: found 'site'; expected each"),
        ("tap_stand,each,500,Dollar,2026,", "row 1 (tap_stand), column currency: found 'Dollar'"),
        ("tap_stand,each,500,USD,26,", "row 1 (tap_stand), column price_year: found 26"),
        ("supervision_share,share,8,,,", "row 1 (supervision_share), column price: found 8; expected a number"),
        ("tap_stand,each,500,KES,2026,", "[costs] exchange_rate: found no rate for KES"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named_by_row(tmp_path: Path, row: str, expected: str) -> None:
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(plan_with(tmp_path, book=row + "\n"))
    assert expected in str(caught.value)


@pytest.mark.parametrize(
    ("year", "text", "old"),
    [
        (2023, "", False),  # three years: not more
        (2022, "", True),
        (2022, "[costs]\ninflation = 0.03\n", False),
        (2022, "[costs]\ninflation = 0.0\n", False),  # nought is an answer
    ],
)
def test_old_prices_are_told_unless_inflation_is_given(tmp_path: Path, year: int, text: str, old: bool) -> None:
    found = told(plan_with(tmp_path, text, f"tap_stand,each,500,USD,{year},tender\n"))
    assert ("old_prices" in found) == old
    if old:
        assert found["old_prices"] == ("warning", f"{year}: tap_stand")


def test_currency_and_inflation_in_closed_form(tmp_path: Path) -> None:
    """52 000 KES of 2024 at 0.0077 USD and 3 % a year to 2026: 52 000 × 0.0077 × 1.03² = 424.78."""
    text = "[costs]\ninflation = 0.03\nexchange_rate = { KES = 0.0077 }\n"
    plan = plan_with(tmp_path, text, "tap_stand,each,52000,KES,2024,\nsupervision_share,share,0.05,,,\n")
    catalogue = load_catalogue(plan)
    assert catalogue.prices.tap_stand == pytest.approx(424.78, abs=0.005)
    assert catalogue.prices.supervision_share == 0.05  # a share is no money
    assert catalogue.prices.wellhead_civil == 900.0  # of the plan's own year


# Prices act ---------------------------------------------------------------------------------------------------


def capital_of(context: Context, family: int = HELICAL) -> tuple[float, float]:
    """First cost and life-cycle cost of one design of the family, with a cooling sleeve."""
    bench = bed.bench(bed.one_site(30.0, 10.0), context)
    design = no_designs(1)[0]
    design.pump = int((context.market.pumps["family"] == family).argmax())
    design.riser = design.delivery = design.cable = design.module = design.tank = 1
    design.array_wp, design.sleeve = 2000.0, 1
    money = design_cost(design, 40.0, 5.0, bench.site, context.rules, context.market)
    return float(money.capital), float(money.lifecycle)


def dearer(catalogue: Catalogue, name: str) -> Catalogue:
    price = getattr(catalogue.prices, name)
    return dataclasses.replace(catalogue, prices=catalogue.prices._replace(**{name: 1.5 * price + 0.01}))


# Not the people a tap serves, which act through the count of taps, nor upkeep of the equipment boundary alone, which is
# in tests/engine/test_cost.py.
ELSEWHERE = ("people_per_tap", "om_equipment")
ROWS = [name for name in bed.context().catalogue.prices._fields if not name.startswith(ELSEWHERE)]


@pytest.mark.parametrize("name", ROWS)
def test_every_row_of_the_book_acts_and_only_upwards(name: str) -> None:
    """Metamorphic: a dearer row makes the life-cycle cost of some family or mounting higher and none lower."""
    higher = []
    for mounting in ("fixed", "single_axis"):
        before = bed.make_context(array={"mounting": mounting})
        after = make_context(before.plan, dearer(before.catalogue, name))
        for family in range(3):
            old, new = capital_of(before, family), capital_of(after, family)
            assert new[1] >= old[1] - 1e-9 and new[0] >= old[0] - 1e-9
            higher.append(new[1] > old[1])
    assert any(higher)


def test_tax_contingency_and_supervision_in_closed_form() -> None:
    """Capital is the bill × (1 + supervision) × (1 + contingency) × (1 + tax), whatever they are."""
    shares = (0.0, 0.0, 0.0), (0.08, 0.10, 0.05), (0.0, 0.25, 0.16), (0.12, 0.0, 0.16)
    bare = None
    for supervision, contingency, tax in shares:
        plain = bed.make_context(costs={"contingency": contingency, "tax": tax})
        prices = plain.catalogue.prices._replace(supervision_share=supervision, supervision_site=0.0)
        context = make_context(plain.plan, dataclasses.replace(plain.catalogue, prices=prices))
        capital, _ = capital_of(context)
        bare = bare or capital
        assert capital == pytest.approx(bare * (1 + supervision) * (1 + contingency) * (1 + tax), rel=1e-12)
