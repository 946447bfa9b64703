"""Commands about the plate and the cut: plate, wall."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import Any

import bladegeom as bg
from bladegeom.commands.common import (
    EVERY,
    answer,
    complain,
    facts_of,
    fits_of,
    print_json,
    print_object,
    status_of,
    told,
)
from bladegeom.draw import printed
from bladegeom.faults import as_letters


def run_plate(options: argparse.Namespace) -> int:
    """Print the plate's shape from its rings; with a table's height, the best rotation too."""
    asked = ("table_height", "reach", "away_from_centre", "output", "tolerance_deg")
    needs = any(getattr(options, one) is not None for one in asked)
    if needs and options.table_height is None:
        raise bg.RefusedError(
            bg.Fault(
                "the best rotation needs the table's height above the arbor's axis",
                "give --table-height, such as --table-height 25mm",
            )
        )

    def fitted() -> bg.PlateFit:
        rings = bg.read_rings(
            options.file, blade=options.blade, unit=options.unit, **facts_of(options)
        )
        return bg.fit_plate(rings, harmonics=options.harmonics)

    if not needs:
        plate = fitted()
        if options.json:
            print_object(plate.to_dict())
        else:
            print(f"{plate}\n\n{printed.cautions_text()}")
        return EVERY

    def best() -> bg.Rotation:
        return bg.best_rotation(
            fitted(),
            table_height=options.table_height,
            reach=options.reach,
            away_from_centre=options.away_from_centre,
            line=options.line,
            tolerance_deg=options.tolerance_deg,
        )

    def draw(rotation: bg.Rotation) -> Sequence[Any]:
        return [bg.rotation_chart(rotation, paper=options.paper)]

    told(options, best, draw, lambda rotation: f"{rotation.plate}\n\n{rotation}")
    return EVERY


def run_wall(options: argparse.Namespace) -> int:
    """Print the wall that the teeth leave; draw it where that is asked for."""

    def wall(fit: bg.WobbleFit) -> bg.CutWall:
        return bg.cut_wall(
            fit,
            side_angle_deg=options.side_angle,
            feed_per_turn=options.feed,
            height=options.height,
            corner=options.corner,
            side=options.wall,
        )

    if options.output is None:
        return answer(options, lambda fit: wall(fit).to_dict(), lambda fit: str(wall(fit)))
    from bladegeom.draw.page import check_target, save_charts

    check_target(options.output)
    fits, refused, wanted = fits_of(options)
    walls = []
    for fit in fits:
        try:
            walls.append(wall(fit))
        except bg.RefusedError as error:
            refused += error.faults
    if not walls:
        raise bg.RefusedError(refused)
    pages = (bg.wall_chart(one, paper=options.paper) for one in walls)
    save_charts(pages, options.output, len(walls))
    if options.json:
        print_json([one.to_dict() for one in walls], refused)
    else:
        end = f"wrote {as_letters(options.output)}"
        print("\n\n".join([*map(str, walls), printed.cautions_text(), end]))
    complain(refused)
    return status_of(len(walls), wanted)
