"""The power report as plain data for other programs."""

from __future__ import annotations

from typing import Any

import numpy as np

from glowsim.electrics.loads import LitBoard
from glowsim.electrics.outputs import DataPlan
from glowsim.electrics.pack import Choice
from glowsim.electrics.power import Currents, PowerReport
from glowsim.electrics.wiring import State
from glowsim.geometry.mesh import FloatArray
from glowsim.plain import picked


def power_json(report: PowerReport) -> dict[str, Any]:
    """Return the whole report as plain data; currents in mA, voltages in V, lengths in mm."""
    return {
        "title": report.title,
        "battery_is": report.state_of_charge,
        "zones": [_currents(row) for row in report.zones],
        "total": _currents(report.total),
        "boards": [
            {
                "name": b.name,
                "piece_of": b.whole,
                "zone": b.zone,
                "board": b.kind,
                "leds": b.led_count,
                "average_ma": round(b.current_ma(level), 3),
                "position_mm": _listed(b.position_mm, 2),
            }
            | picked(b, idle_ma=3, drawn_ma=3, white_ma=3)
            for b, level in zip(report.boards, report.average_levels, strict=True)
        ],
        "battery": choice_json(report.choice) if report.choice else None,
        "batteries": [choice_json(choice) for choice in report.choices],
        "wiring": _wiring(report) if report.wiring else None,
        "fuse": None
        if report.fuse is None
        else picked(report.fuse, "fuse_a", "rule", load_ma=1)
        | {
            "for_full_white": report.fuse.for_white,
            "by_the_other_rule_a": report.fuse.other_a,
            "type": "time-lag",
        },
        "data": _data(report.data, report.boards),
        "notes": list(report.notes),
        "cautions": list(report.cautions),
    }


def _data(data: DataPlan, boards: tuple[LitBoard, ...]) -> dict[str, Any]:
    return {
        "outputs": [
            picked(o, "name", "zones", frame_ms=4, most_frames_per_second=1)
            | {"leds": o.led_count, "boards": [[boards[n].name for n in row] for row in o.rows]}
            for o in data.outputs
        ],
        "wires": [
            {"from": w.start, "to": w.end} | picked(w, "output", "gauge", length_mm=1)
            for w in data.wires
        ],
        "most_leds_per_output": data.most_leds,
        **picked(data, "written", "frames_per_second", "memory_bytes", "dimmed_channels", "notes"),
    }


def _currents(row: Currents) -> dict[str, Any]:
    currents = {"idle_ma": 2, "average_ma": 2, "peak_ma": 2, "drawn_ma": 2, "white_ma": 2}
    return picked(row, "name", "boards", "leds", **currents)


def choice_json(choice: Choice) -> dict[str, Any]:
    """Return a pack held against a prop as plain data."""
    run = choice.run
    return {
        "battery": choice.pack.label,
        **picked(choice.pack, "key", "in_series", "in_parallel", "mass_g", fresh_v=3),
        **picked(choice, "verdict", "why", average_ma=1, peak_ma=1),
        **picked(run, "ends_by", "fades", "note", hours=3),
        "hours_range": [round(run.low_hours, 3), round(run.high_hours, 3)],
        "fades_after_hours": None if run.fades_hours is None else round(run.fades_hours, 3),
        "used_share": round(run.used, 3),
        "rest_v_half_used": round(choice.pack.feed(0.5).rest_v, 3),
        "supply_v_half_used": round(choice.half.supply_v, 3),
        "supply_v_half_used_full_white": round(choice.white.supply_v, 3),
        "worst_board_v_half_used": round(float(choice.half.board_v.min()), 3),
        "limit_ma": round(choice.pack.max_current_ma, 1),
    }


def _wiring(report: PowerReport) -> dict[str, Any]:
    wiring = report.wiring
    assert wiring is not None, "asked for a report with wiring"
    return {
        "kind": wiring.harness.kind,
        "runs": [
            {
                "from": run.start,
                "to": run.end,
                "boards": [report.boards[n].name for n in run.boards],
                "white_ma": round(current, 1),
            }
            | picked(run, "length_mm", "gauge")
            for run, current in zip(wiring.harness.every_run, wiring.run_ma, strict=True)
        ],
        "drawn": _state(wiring.drawn),
        "full_white": _state(wiring.white),
        "full_white_held_drop_v": _listed(wiring.held_drop_v, 4),
        "drop_limit_v": wiring.harness.drop_limit_v,
        "gauge": {
            "throughout": wiring.gauge.gauge,
            **picked(wiring.gauge, "for_drop", "for_current", "for_fuse", load_ma=1),
            "faults_as_drawn": list(wiring.gauge.faults),
        },
        "cut_list": [
            picked(piece, "conductor", "gauge", "length_mm", "count", "runs")
            for piece in report.cut_list
        ],
    }


def _state(state: State) -> dict[str, Any]:
    return picked(state, supply_v=4, supply_ma=2, wire_loss_w=4) | {
        "board_v": _listed(state.board_v, 4),
        "light_share": [_listed(row, 4) for row in state.share],
    }


def _listed(values: FloatArray, digits: int) -> list[float]:
    rounded: list[float] = np.round(values, digits).tolist()
    return rounded
