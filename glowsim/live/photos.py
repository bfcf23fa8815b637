"""Photos of a prop under the hand, taken just as `glow` takes them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw

from glowsim.calibration.image import Frame
from glowsim.electrics.as_wired import as_tried
from glowsim.geometry.hollow import depth_mm
from glowsim.geometry.mesh import FloatArray
from glowsim.optics.srgb import encode
from glowsim.pictures import Studio
from glowsim.pictures.backends import drawn_by_glow
from glowsim.pictures.bright_map import calm_shading
from glowsim.pictures.text import font
from glowsim.scene import Scene, SceneFile
from glowsim.transport.plan import plan_of
from glowsim.transport.prepared import PreparedProp
from glowsim.transport.problem import BodyProblem
from glowsim.transport.result import SurfaceGlow
from glowsim.transport.sizes import Sizes, face_size_mm

_PART = (480, 400)
_INK = (190, 190, 192)


def studio_of(
    kept: PreparedProp,
    scene_file: SceneFile,
    azimuth: float,
    elevation: float,
    pictures: float = math.inf,
) -> Studio:
    """Return a studio for a prop as its wires let it be, seen from the given angles [deg].

    pictures : how many are to be drawn, as `choose_backend` counts them
    """
    scene = scene_file.scene
    glow = as_tried(kept.glow(plan_of(scene_file)), scene_file)
    view = scene.view.model_copy(update={"azimuth_deg": azimuth, "elevation_deg": elevation})
    return Studio(glow, scene.model_copy(update={"view": view}), pictures=pictures)


def photo_png(
    kept: PreparedProp,
    scene_file: SceneFile,
    size: tuple[int, int],
    azimuth_deg: float,
    elevation_deg: float,
) -> bytes:
    """Return the photo that `glow` takes of a scene with this view, as PNG, to the pixel."""
    pictures = drawn_by_glow(size)
    return _png(studio_of(kept, scene_file, azimuth_deg, elevation_deg, pictures).photo(size))


def as_jpeg(frame: Frame) -> bytes:
    """Return a camera's image as a browser shows it, upright."""
    share = frame.codes / frame.full
    if frame.linear:
        share = encode(share)
    stream = BytesIO()
    Image.fromarray(np.uint8(np.round(255.0 * share))).save(stream, "JPEG", quality=92)
    return stream.getvalue()


def side_by_side_png(
    kept: PreparedProp,
    files: Sequence[SceneFile],
    names: Sequence[str],
    azimuth_deg: float,
    elevation_deg: float,
) -> bytes:
    """Return photos of several scenes at one exposure and from one side, as one PNG."""
    studios = [studio_of(kept, file, azimuth_deg, elevation_deg) for file in files]
    exposure = max(studio.exposure_cd_m2 for studio in studios)
    page = Image.new("RGB", (_PART[0] * len(studios), _PART[1]), (14, 14, 16))
    for k, (studio, name) in enumerate(zip(studios, names, strict=True)):
        part = studio.photo(_PART, exposure_cd_m2=exposure, caption=False)
        labelled = _labelled(part, name)
        page.paste(labelled, (_PART[0] * k, 0))
    return _png(page)


def studio_after(last: Studio | None, glow: SurfaceGlow, scene: Scene) -> Studio:
    """Return a studio for a glow; what the last one knows of the same faces and room is used."""
    if last is not None and last.scene.room == scene.room and last.glow.same_faces(glow):
        return last.with_glow(glow)
    return Studio(glow, scene, "embree")


def sent_back(studio: Studio) -> tuple[FloatArray, FloatArray]:
    """Return what the prop's surface sends back of its own light and of the room's, as a photo
    has it, (c, 3) XYZ each [cd/m2]."""
    return studio.shading.across, studio.shading.sent_back


def calm_cd_m2(studio: Studio) -> FloatArray:
    """Return the luminance that the contour lines of the brightness map follow, (c,) float."""
    calm, emission = calm_shading(studio), studio.emission
    # What leaves in bundles is not smoothed, there as here.
    bundled = studio.stage.at_corners(emission.total_lm_m2 - emission.diffuse_lm_m2) / np.pi
    return np.asarray((calm.diffuse + calm.across + bundled)[:, 1])


def sizes_of(problem: BodyProblem) -> Sizes:
    """Return the faces and cells that a body has been solved on."""
    depth = depth_mm(problem.outer, problem.emitters.position)
    return Sizes(face_size_mm(problem.outer, problem.wall_mm, depth), problem.cell_mm)


def _labelled(picture: Image.Image, name: str) -> Image.Image:
    draw = ImageDraw.Draw(picture)
    draw.text((14, 12), name, _INK, font(18.0))
    return picture


def _png(picture: Image.Image) -> bytes:
    out = BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()
