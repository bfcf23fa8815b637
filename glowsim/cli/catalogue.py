"""`glowsim catalogue`: what the program knows about materials, coats, boards and supplies."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import click

from glowsim.catalogue import (
    Battery,
    Board,
    Catalogue,
    Coat,
    Material,
    Wire,
    load_catalogue,
)
from glowsim.cli.common import console, json_option, print_json, table_of
from glowsim.cli.figure_table import FigureTable
from glowsim.errors import MaterialError, did_you_mean

KINDS = ("materials", "coats", "boards", "batteries", "wires")


@click.command(
    name="catalogue",
    epilog="Examples:\n\n  glowsim catalogue\n\n  glowsim catalogue boards\n\n"
    "  glowsim catalogue upholstery_foam_white",
)
@click.argument("name", required=False)
@json_option
def command(name: str | None, as_json: bool) -> None:
    """List materials, coats, light boards, batteries and wires; NAME is one kind, or one entry."""
    catalogue = load_catalogue()
    chosen = _chosen(catalogue, name)
    if as_json:
        print_json(
            {
                kind: {key: e.model_dump(mode="json") for key, e in rows.items()}
                for kind, rows in chosen.items()
            }
        )
        return
    if name is not None and name not in KINDS:
        _one(next(iter(next(iter(chosen.values())).values())), name)
        return
    screen = console()
    for kind, rows in chosen.items():
        screen.print(TABLES[kind](rows))
    screen.print(
        "An estimate is just that: x/÷ 3 means a third to three times the value. "
        "'glowsim catalogue NAME' tells where the figures of one entry come from."
    )


def _chosen(catalogue: Catalogue, name: str | None) -> dict[str, dict[str, Any]]:
    kinds: dict[str, dict[str, Any]] = {kind: dict(getattr(catalogue, kind)) for kind in KINDS}
    if name is None:
        return kinds
    if name in KINDS:
        return {name: kinds[name]}
    found = {kind: {name: rows[name]} for kind, rows in kinds.items() if name in rows}
    if not found:
        everything = [*KINDS, *(key for rows in kinds.values() for key in rows)]
        raise MaterialError(f"the catalogue has no '{name}'{did_you_mean(name, everything)}")
    return found


def _bands(values: Iterable[float]) -> str:
    texts = [f"{v:.3g}" for v in values]
    return texts[0] if len(set(texts)) == 1 else " ".join(texts)


def _materials(rows: dict[str, Material]) -> FigureTable:
    table = table_of(
        "Materials (absorption and scattering at 620, 525, 465 nm)",
        ("name", "confidence"),
        ("absorption mu_a 1/mm", "x/÷", "cloudiness mu_s' 1/mm", "x/÷", "g", "n"),
    )
    for name, entry in rows.items():
        table.add_row(
            name,
            entry.confidence,
            _bands(entry.mu_a_per_mm),
            f"{entry.mu_a_factor:.2g}",
            _bands(entry.mu_s_reduced_per_mm),
            f"{entry.mu_s_reduced_factor:.2g}",
            f"{entry.g:g}",
            f"{entry.refractive_index:g}",
        )
    table.caption = (
        "x/÷: good to within that factor; g: how straight on light goes at each turn, 1 is "
        "straight; n: refractive index"
    )
    return table


def _coats(rows: dict[str, Coat]) -> FigureTable:
    table = table_of(
        "Coats: paint, tape, sheet, opaque surfaces",
        ("name", "confidence"),
        ("reflects", "lets through", "straight"),
    )
    for name, entry in rows.items():
        table.add_row(
            name,
            entry.confidence,
            f"{_bands(entry.reflectance)} ± {entry.reflectance_uncertainty:g}",
            f"{_bands(entry.transmittance)} ± {entry.transmittance_uncertainty:g}",
            f"{entry.open_fraction:g}",
        )
    return table


def _boards(rows: dict[str, Board]) -> FigureTable:
    table = table_of(
        "Light boards (figures of the whole board at full drive)",
        ("name", "label"),
        ("LEDs", "lm R G B", "mA per channel", "W", "reflects"),
    )
    for name, entry in rows.items():
        table.add_row(
            name,
            entry.label,
            str(entry.led_count),
            _bands(entry.led_count * f for f in entry.flux_lm),
            _bands(entry.channel_current_ma),
            f"{entry.power_w():.3g}",
            f"{entry.mask} {sum(entry.front_reflectance) / 3:.2f}",
        )
    table.caption = (
        "Reflects: the mask's colour, and the share of light that the front reflects. Parts sold "
        "under one number differ by 1.6 times in current: measure yours and set channel_current_ma"
    )
    return table


def _batteries(rows: dict[str, Battery]) -> FigureTable:
    table = table_of(
        "Batteries (one cell, or one power bank)",
        ("name", "label"),
        ("V fresh", "V to stop", "mAh at mA", "limit mA"),
    )
    for name, entry in rows.items():
        held, drain = entry.capacity_mah[0], entry.drain_ma[0]
        table.add_row(
            name,
            entry.label,
            f"{entry.output_v or entry.fresh_v:.2f}",
            f"{entry.cutoff_v:g}",
            f"{held:g} at {drain:g}",
            f"{entry.max_current_ma:g}",
        )
    return table


def _wires(rows: dict[str, Wire]) -> FigureTable:
    table = table_of(
        "Wires (copper, one conductor, 20 C)", ("name",), ("mm2", "ohm/km", "A open", "A in foam")
    )
    for name, entry in rows.items():
        figures = (entry.area_mm2, entry.ohm_per_km, entry.open_air_a, entry.buried_a)
        table.add_row(name, *(f"{value:.3g}" for value in figures))
    return table


TABLES: dict[str, Callable[[dict[str, Any]], FigureTable]] = {
    "materials": _materials,
    "coats": _coats,
    "boards": _boards,
    "batteries": _batteries,
    "wires": _wires,
}


def _one(entry: Any, name: str) -> None:
    table = table_of(name, ("property", "value"))
    for key, value in entry.model_dump(mode="json").items():
        if value not in (None, ""):
            table.add_row(key, _bands(value) if isinstance(value, list) else str(value))
    console().print(table)
