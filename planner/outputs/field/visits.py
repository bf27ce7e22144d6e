"""The sites to visit: which, in what order, under what short name, and what to look at there."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from planner.errors import printable
from planner.outputs.material import Material
from planner.texts import date_text, of_kind, say

GROUPS = ("funded", "equip", "reserve", "test_first")
NAME_LENGTH = 10  # characters that the screens of small receivers show of a waypoint's name
SHOWN_LENGTH = 200  # of a foreign text; nobody reads more of it in the field
# Ids that look like our own code for a row are never names, so that no name can mean two sites.
_CODE = re.compile(r"R[0-9]+", re.IGNORECASE)
_NAME = re.compile(rf"[A-Za-z0-9][A-Za-z0-9._/ -]{{0,{NAME_LENGTH - 1}}}")
_ANALYSES = ("fluoride_mg_l", "arsenic_mg_l", "nitrate_mg_l")


@dataclass(frozen=True)
class Visit:
    """One site to visit.

    name    unique, at most NAME_LENGTH plain characters
    group   one of GROUPS
    site    its row of the results: columns of the glossary
    checks  what to look at, sentences in the language of the plan
    """

    name: str
    group: str
    site: dict[Hashable, Any]
    checks: list[str]


def visits_of(material: Material) -> list[Visit]:
    """Sites to equip (funded, on the reserve list, or without a budget) and to test first, where a position is known.

    Sites on hold are not among them: what holds most of them is settled at a desk, or by the plan.
    In the order of a tour: by lot, then by sub-district, then what is funded, to equip, on reserve, to test; by rank.
    """
    sites, language = material.sites, language_of(material)
    names = dict(zip(sites["inventory_row"].tolist(), short_names(sites), strict=True))
    wanted = sites["decision"].isin(["equip", "test_first"]) & sites["latitude"].notna() & sites["longitude"].notna()
    chosen = sites[wanted]
    group = chosen["funding"].where(chosen["funding"] != "", chosen["decision"])
    missing = pd.Series(np.nan, index=chosen.index)
    order = pd.DataFrame(
        {
            "lot": chosen.get("lot", missing),
            "place": chosen.get("sub_district_used", chosen["sub_district"]),
            "group": group.map(GROUPS.index),
            "phase": chosen.get("phase", missing),
            "rank": chosen["rank"],
            "test_rank": chosen.get("test_rank", missing),
            "row": chosen["inventory_row"],
        }
    )
    order = order.sort_values(list(order.columns), kind="stable")
    return [
        Visit(names[site["inventory_row"]], str(group[at]), site, list(_checks(site, language)))
        for at, site in zip(order.index, chosen.loc[order.index].to_dict("records"), strict=True)
    ]


def language_of(material: Material) -> str:
    """The language of files for people, the plan's."""
    return material.plan.plan.programme.language


def short_names(sites: pd.DataFrame) -> list[str]:
    """A name for each row of the inventory: its id where that is short, plain and nobody else's, else R and its row."""
    ids = sites["site_id"].str.strip()
    folded = ids.str.casefold()
    alone = ~folded.duplicated(keep=False)
    return [
        one if yes and _NAME.fullmatch(one) and not _CODE.fullmatch(one) else f"R{row}"
        for one, yes, row in zip(ids.tolist(), alone.tolist(), sites["inventory_row"].tolist(), strict=True)
    ]


def _checks(site: dict[Hashable, Any], language: str) -> Iterator[str]:
    for key, wanted in (
        ("position", True),
        ("state", True),
        ("test", site["decision"] == "test_first"),
        ("test_old", site["decision"] == "equip"),
        ("level", True),
        ("depth", pd.isna(site["depth_m"])),
        ("casing", pd.isna(site["casing_mm"])),
        ("water", any(pd.isna(site[name]) for name in _ANALYSES)),
        ("people", site.get("people_source") != "inventory"),
        ("shade", True),
    ):
        if wanted:
            yield say(f"field_check_{key}", language)


def plain(text: str) -> str:
    r"""A foreign text on one line, short, with everything spelled out that is not printable.

    >>> plain("Kesu\x07")
    'Kesu\\x07'
    """
    shown = printable(text.strip()).replace("\n", "\\n")
    return shown if len(shown) <= SHOWN_LENGTH else shown[: SHOWN_LENGTH - 1] + "…"


def no_markup(text: str) -> str:
    """`plain` for a description: some viewers read descriptions as HTML, so signs of markup become look-alikes.

    >>> no_markup("<b>&amp; $[name]")
    '‹b›＆amp; $［name]'
    """
    return plain(text).translate({ord("<"): "‹", ord(">"): "›", ord("&"): "＆"}).replace("$[", "$［")


def heading(material: Material) -> tuple[str, str]:
    """Title, and what is said of the whole file: run, date, what it is, all cautions."""
    language, about = language_of(material), material.about
    title = say("field_title", language, programme=no_markup(about["programme"]))
    return title, "\n".join([run_line(material), say("field_file", language), *of_kind("caution", language)])


def run_line(material: Material) -> str:
    """Run and date."""
    about = material.about
    language = language_of(material)
    return say("field_run", language, run_id=about["run_id"], date=date_text(about["date"], language))


def group_name(group: str, language: str) -> str:
    """What becomes of the sites of a group."""
    return say(f"field_group_{group}", language)


def description(visit: Visit, material: Material) -> list[str]:
    """Lines for a handheld: decision and rank, site, what to look at, the shortest caution, run."""
    site, language = visit.site, language_of(material)
    lines = [say("field_decision", language, decision=group_name(visit.group, language))]
    if not pd.isna(site["rank"]):
        lines.append(say("field_rank", language, rank=str(int(site["rank"]))))
    place = " · ".join(no_markup(site[name]) for name in ("site_id", "site_name", "sub_district") if site[name].strip())
    lines.append(say("field_site", language, site=place, row=str(site["inventory_row"])))
    if site["evidence_grade"]:
        lines.append(say("field_evidence", language, grade=str(site["evidence_grade"])))
    return [*lines, *visit.checks, say("caution_entry", language), run_line(material)]
