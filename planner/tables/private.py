"""Columns of the inventory that nobody maps: which of them look private, and which the plan wants in the results.

A column that the plan does not map stays in the inventory. `[output] show_columns` carries one along as text, by its
header. What looks like a person's name, telephone number, e-mail address or identity number goes only where its
header is written exactly.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from planner.errors import Fault, PlanError, raise_if
from planner.plan import LoadedPlan
from planner.tables.cells.read import fold
from planner.tables.files.raw_table import clip
from planner.tables.files.text_rows import column_of
from planner.tables.inventory_file import Table
from planner.tables.step import Finding

# Words of headers, folded, in English, French, Portuguese, Spanish and Swahili. Names of places are none of them.
HEADER_WORDS = {
    "a person's name": (
        "owner|owner name|caretaker|contact person|contact name|attendant|operator name|chairperson|chairman|"
        "respondent|interviewee|interviewer|enumerator|surveyor|data collector|collected by|recorded by|"
        "first name|last name|full name|surname|household head|head of household|family name|person name|"
        "submitted by|username|"
        "proprietaire|gardien|gestionnaire|responsable|personne de contact|prenom|nom et prenom|nom complet|enqueteur|"
        "enquete par|nom de famille|chef de menage|"
        "proprietario|dono|zelador|responsavel|nome completo|apelido|sobrenome|inquiridor|entrevistador|"
        "pessoa de contacto|"
        "propietario|encargado|apellido|apellidos|nombre completo|encuestador|persona de contacto|"
        "mmiliki|mhudumu|msimamizi|mwenyekiti|jina kamili|jina la mtu|jina la mmiliki|mtunzaji"
    ),
    "a telephone number": (
        "phone|phones|phone number|phone no|telephone|tel|tel no|mobile|mobile no|cellphone|cell no|whatsapp|msisdn|"
        "contact|contacts|contact no|contact number|contact details|numero de telephone|numero de tel|"
        "telefone|telemovel|celular|contacto|contactos|contato|telefono|movil|simu|namba ya simu|mawasiliano"
    ),
    "an e-mail address": "email|e mail|mail|email address|courriel|adresse electronique|correo|barua pepe",
    "an identity number": (
        "national id|national id no|nid|nin|id card|identity card|identity number|passport|passport no|"
        "social security|ssn|"
        "carte d identite|cni|passeport|numero d identite|bilhete de identidade|passaporte|nuit|cpf|"
        "cedula|dni|documento de identidad|pasaporte|kitambulisho|namba ya kitambulisho|nida"
    ),
}
_HEADER = {kind: re.compile(rf"\b(?:{words})\b") for kind, words in HEADER_WORDS.items()}
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")

EMAIL = r"[^\s@<>]{1,64}@[^\s@<>]{1,190}\.[A-Za-z]{2,}"
# With the country's code; or a 0 and eight to ten more digits. Our own bound: fewer digits are dates and heights.
INTERNATIONAL = r"(?:\+[1-9](?:[ ().-]{0,2}[0-9]){7,13}|\b00[1-9](?:[ ().-]{0,2}[0-9]){9,13})\b"
LOCAL = r"\b0[1-9](?:[ .-]?[0-9]){7,9}\b"
# Titles before a name, in the five languages; "Dr" and the like before a capital letter.
TITLE = r"\b(?:Mrs?|Ms|Mme|Mlle|Dr|Prof|Sra?|Srta|Bwana|Bibi|Bw|Bi|Mzee|Ndugu)\b\.? (?:[A-Z]\.? ?)*[A-Z][a-z]"
IDENTITY = r"\b(?:19|20)[0-9]{6}-[0-9]{5}-[0-9]{5}-[0-9]{2}\b"  # birth date and serial, as some cards have them
_IN_TEXT = re.compile(f"{EMAIL}|{INTERNATIONAL}|{LOCAL}|{IDENTITY}")
LOOKED_AT = 10_000  # cells of a column, evenly spread: a column of a large file takes a tenth of a second
_MOSTLY = 0.5  # share of bare numbers that must look like telephone numbers before a column of codes counts as private


@dataclass(frozen=True)
class Shown:
    """Columns that the plan wants in the results, header → text by inventory_row, and what was found about privacy."""

    columns: pd.DataFrame
    findings: list[Finding]


def shown_columns(plan: LoadedPlan, table: Table) -> Shown:
    """The columns of `[output] show_columns` as they stand in the file, and a finding for each private-looking column.

    Raises PlanError that names every header that is not there, and every private column whose header is not exact.
    """
    rows = pd.RangeIndex(1, len(table.rows) + 1, name="inventory_row").astype("int64")
    texts = {
        name: pd.Series(column_of(table.rows, place), index=rows, copy=False) for place, name in enumerate(table.header)
    }
    private = {name: kind for name in texts if (kind := _kind(table, name, texts[name]))}
    chosen = _chosen(plan, table.header, private)
    findings = [_finding(table, name, kind, name in chosen) for name, kind in private.items()]
    return Shown(pd.DataFrame({name: texts[name] for name in chosen}, index=rows), findings)


def private_kind(header: str, cells: pd.Series) -> str:
    """What private thing a column seems to hold, in words; empty for none.

    >>> private_kind("Contact (phone)", pd.Series([], dtype="str"))
    'a telephone number'
    >>> private_kind("remarks", pd.Series(["ask Mr. Tundu Kesi", "rocky"], dtype="str"))
    "a person's name"
    >>> private_kind("village name", pd.Series(["Lower Mwesa"], dtype="str"))
    ''
    """
    return private_header(header) or _private_content(cells)


def private_header(header: str) -> str:
    """The same of the header alone."""
    words = fold(_CAMEL.sub(" ", header))
    # "phone" tells more than "owner": the kinds of number come before the name.
    order = sorted(_HEADER, key=lambda kind: kind == "a person's name")
    return next((kind for kind in order if _HEADER[kind].search(words)), "")


def private_text(text: str) -> bool:
    """Whether a text holds an e-mail address, a telephone or an identity number.

    >>> private_text("key with 0712 345 678"), private_text("12.5, 34.1"), private_text("0012345678")
    (True, False, False)
    """
    return len(text) > 5 and _IN_TEXT.search(text) is not None


def _kind(table: Table, name: str, cells: pd.Series) -> str:
    """A mapped column of numbers, words or positions is what the plan says it is; names of places may be anything."""
    mapped = next((one for one, place in table.place.items() if table.header[place] == name), "")
    if not name or mapped not in {"", "site_id", "site_name", "sub_district"}:
        return ""
    return private_header(name) if mapped else private_kind(name, cells)


def _private_content(cells: pd.Series) -> str:
    if len(cells) > LOOKED_AT:
        cells = cells.iloc[:: -(-len(cells) // LOOKED_AT)]
    filled = cells[cells.str.strip() != ""]
    suspects = filled[filled.str.contains(r"@|[0-9][0-9 ().-]{6,}[0-9]")].drop_duplicates()
    if suspects.str.contains(EMAIL).any():
        return "an e-mail address"
    if suspects.str.contains(IDENTITY).any():
        return "an identity number"
    bare = suspects.str.strip().str.fullmatch(r"[0-9 .()-]+").astype(bool)
    said = suspects[~bare].str.contains(f"{INTERNATIONAL}|{LOCAL}").any()
    if said or suspects[bare].str.strip().str.fullmatch(f"{INTERNATIONAL}|{LOCAL}").sum() > _MOSTLY * filled.nunique():
        return "a telephone number"
    return "a person's name" if filled.str.contains(TITLE).any() else ""


def _chosen(plan: LoadedPlan, header: list[str], private: dict[str, str]) -> list[str]:
    """Headers that the plan's names stand for: exactly, else without regard to case, accents and marks."""
    faults: list[Fault] = []
    chosen: list[str] = []
    for written in plan.plan.output.show_columns:
        alike = [name for name in header if name == written.strip()]
        alike = alike or [name for name in header if name and fold(name) == fold(written)]
        if len(alike) != 1:
            found = f"{len(alike) or 'no'} column{'s' * (len(alike) > 1)} {clip(written)}"
            expected = "one of: " + ", ".join(clip(name) for name in alike or header if name)
            faults.append(Fault(str(plan.path), "[output] show_columns", found, expected))
        elif alike[0] in private and alike[0] != written.strip():
            found = f"{clip(written)}, whose column looks like {private[alike[0]]}"
            expected = f"the exact header {clip(alike[0])}, if private data are to go into shared results"
            faults.append(Fault(str(plan.path), "[output] show_columns", found, expected))
        elif alike[0] not in chosen:
            chosen.append(alike[0])
    raise_if(faults, PlanError)
    return chosen


def _finding(table: Table, name: str, kind: str, shown: bool) -> Finding:
    """Told once a column, without any of its cells."""
    mapped = next((one for one, place in table.place.items() if table.header[place] == name), "")
    if mapped:
        return Finding(0, "", name, "private_column", "warning", name, f"looks like {kind}; carried as {mapped}")
    what = "carried, as the plan asks" if shown else "not carried"
    return Finding(0, "", name, "private_column", "info", name, f"looks like {kind}; {what}")
