"""Boards that are dark, wrong or stuck: which single fault explains just these, and how to test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from glowsim.electrics.loads import in_one_piece, told_together
from glowsim.electrics.power import Electrics
from glowsim.electrics.trace_faults import Fault, Suspect, faults_of
from glowsim.electrics.trace_graph import KINDS, Graph, Symptoms
from glowsim.errors import SceneError, did_you_mean
from glowsim.plain import picked

MOST_PAIRED = 300
"""Single faults that are tried in pairs, the likeliest ones."""


@dataclass(frozen=True)
class Cause:
    """What explains the symptoms: a stretch of power or data, or another part.

    keys     : of every fault that it stands for;  where : the places in words
    weight   : likelihood beside the other causes
    suspects : the likeliest first
    """

    keys: tuple[tuple[str, ...], ...]
    family: str
    where: str
    weight: float
    suspects: tuple[Suspect, ...]


@dataclass(frozen=True)
class Trace:
    """The causes of what is seen, the likeliest first.

    faults : how many separate faults each row of causes needs: 1, 2, or 0 if not even two explain
             it; the rows then explain a part
    causes : rows of causes;  shares : likelihood of each row among all of them
    """

    seen: Symptoms
    faults: int
    causes: tuple[tuple[Cause, ...], ...]
    shares: tuple[float, ...]


def named_symptoms(electrics: Electrics, names: Sequence[Sequence[str]]) -> Symptoms:
    """Return symptoms from names of boards, copies, bodies or zones, one list for each kind.

    Raises SceneError for a name that means no board, and for a board that is seen two ways.
    """
    found = [_numbers(electrics, group) for group in names]
    for one, other in combinations(found, 2):
        if both := one & other:
            name = electrics.boards[min(both)].name
            raise SceneError(f"'{name}' is named twice; a board shows one thing at a time")
    return Symptoms(*found)


def counted_leds(
    electrics: Electrics, names: Sequence[str]
) -> tuple[list[str], dict[int, int], list[str]]:
    """Return names without the count of LEDs that are right ('spike 3=4'), it by board, and the
    names of the LEDs behind, dark by themselves, of strips whose LEDs are lights of their own.

    Raises SceneError for a count that leaves no LED or none that is wrong.
    """
    bare: list[str] = []
    lit: dict[int, int] = {}
    behind: list[str] = []
    for name in names:
        board, equals, count = name.rpartition("=")
        if not equals:
            bare.append(name)
            continue
        for numbers in in_one_piece(sorted(_numbers(electrics, [board])), electrics.boards):
            leds = sum(electrics.boards[n].led_count for n in numbers)
            if leds == 1:
                whole = electrics.boards[numbers[0]].whole
                raise SceneError(f"'{name}': {whole} has one LED; it is right or dark (--dark)")
            if not (count.strip().isdigit() and 0 < int(count) < leds):
                raise SceneError(
                    f"'{name}': {electrics.boards[numbers[0]].whole} has {leds} LEDs; say how many "
                    f"of the first are right, 1 to {leds - 1}"
                )
            if len(numbers) > 1:
                behind += [electrics.boards[n].name for n in numbers[int(count) :]]
            else:
                bare.append(electrics.boards[numbers[0]].name)
                lit[numbers[0]] = int(count)
    return bare, lit, behind


def _numbers(electrics: Electrics, names: Sequence[str]) -> frozenset[int]:
    found: set[int] = set()
    for name in names:
        mine = [
            n
            for n, b in enumerate(electrics.boards)
            if name in (b.name, b.row, b.copy, b.body, b.zone)
        ]
        if not mine:
            known = [word for b in electrics.boards for word in (b.row, b.copy, b.body, b.zone)]
            raise SceneError(
                f"there is no board '{name}'{did_you_mean(name, dict.fromkeys(known))}"
            )
        found |= set(mine)
    return frozenset(found)


def trace(graph: Graph, seen: Symptoms, faults: Sequence[Fault] = ()) -> Trace:
    """Return what explains just these symptoms: single faults, or pairs where none does.

    faults : those of the graph (`faults_of`), where they are known already
    """
    faults = faults or faults_of(graph)
    singles = _grouped([(f, w) for f in faults for s, w in f.shows if s == seen])
    if singles:
        return _ranked(seen, 1, [(cause,) for cause in singles])
    parts: dict[Symptoms, list[tuple[Fault, float]]] = {}
    for fault in faults:
        for symptoms, weight in fault.shows:
            if symptoms.within(seen):
                parts.setdefault(symptoms, []).append((fault, weight))
    causes = [(symptoms, cause) for symptoms, some in parts.items() for cause in _grouped(some)]
    causes = sorted(causes, key=lambda pair: -pair[1].weight)[:MOST_PAIRED]
    pairs = [
        (one, other)
        for (a, one), (b, other) in combinations(causes, 2)
        if a | b == seen and one.keys != other.keys
    ]
    if pairs:
        return _ranked(seen, 2, pairs)
    # Whatever explains the most of it, by itself.
    covering = sorted(causes, key=lambda pair: (-len(pair[0].all), -pair[1].weight))
    each = {cause.keys: cause for _, cause in reversed(covering)}  # the one that covers most
    return _ranked(seen, 0, [(cause,) for cause in list(each.values())[:-6:-1]])


def _grouped(found: Sequence[tuple[Fault, float]]) -> list[Cause]:
    """Return faults that look alike as causes: those of one family lie along one stretch."""
    families: dict[str, list[tuple[Fault, float]]] = {}
    for fault, weight in found:
        families.setdefault(fault.family, []).append((fault, weight))
    causes = []
    for family, some in families.items():
        suspects = [s for fault, _ in some for s in fault.suspects]
        causes.append(
            Cause(
                tuple(dict.fromkeys(fault.key for fault, _ in some)),
                family,
                "; ".join(dict.fromkeys(fault.where for fault, _ in some)),
                sum(fault.weight * weight for fault, weight in some),
                tuple(sorted(suspects, key=lambda s: -s.weight)),
            )
        )
    return sorted(causes, key=lambda cause: -cause.weight)


def _ranked(seen: Symptoms, faults: int, rows: Sequence[tuple[Cause, ...]]) -> Trace:
    def likely(row: tuple[Cause, ...]) -> float:
        product = 1.0
        for cause in row:
            product *= cause.weight
        return product

    ordered = sorted(rows, key=likely, reverse=True)
    total = sum(map(likely, ordered)) or 1.0
    return Trace(seen, faults, tuple(ordered), tuple(likely(row) / total for row in ordered))


def first_test(graph: Graph, found: Trace) -> str:
    """Return the one reading that tells power from data, '' where both are not in question."""
    if found.faults != 1 or {row[0].family for row in found.causes[:2]} != {"power", "data"}:
        return ""
    dark = found.seen.dark
    worst = next((n for _, row in graph.rows for n in row if n in dark), None)
    if worst is None:
        return ""
    rank = {row[0].family: k for k, row in enumerate(found.causes[:2], start=1)}
    return (
        f"First measure plus to minus on the pads of {graph.boards[worst].name}, everything on: "
        f"about {graph.sound.board_v[worst]:.2f} V there means the data ({rank['data']}), nothing "
        f"or far less means the power ({rank['power']})."
    )


def trace_json(graph: Graph, found: Trace) -> dict[str, Any]:
    """Return what is seen, the LEDs of one strip together, and the causes, as plain data."""
    return {
        "seen": {
            kind: told_together(numbers, graph.boards)
            for kind, numbers in zip(KINDS, found.seen.by_kind, strict=True)
            if numbers
        },
        "faults": found.faults,
        "causes": [
            {
                "likelihood": round(share, 3),
                "parts": [
                    picked(cause, "family", "where")
                    | {"suspects": [picked(s, "what", "test") for s in cause.suspects]}
                    for cause in row
                ],
            }
            for row, share in zip(found.causes, found.shares, strict=True)
        ],
    }
