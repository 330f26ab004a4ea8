"""A scene as linear light, traced with Mitsuba: the slow step, some 20 s a photo of 12 megapixels on two cores."""

from __future__ import annotations

import math
import os
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from tests.accuracy import shapes as sh
from tests.accuracy.lab import blockers, faces, grounds
from tests.accuracy.lab.camera import Camera
from tests.accuracy.lab.grounds import SPAN_MM
from tests.accuracy.lab.lights import Lamp, Light
from tests.accuracy.lab.meshes import Mesh, extruded, turned
from tests.accuracy.lab.scene import Scene

Picture = NDArray[np.float32]
Nodes = dict[str, Any]

MARGIN = 0.024
"""How much wider than the photo the pinhole's picture is, all round, so that it can be bent; share of its width."""
STRIPS = 8
"""Parts that a picture is rendered in, for the memory's sake."""
AIR_COLOUR = [0.25, 0.2, 0.17]


def _mitsuba() -> Any:
    """The renderer, with the newest LLVM that Debian has put here; MI_VARIANT chooses another back end."""
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        libraries = Path("/usr/lib")
        found = sorted(libraries.glob("*/libLLVM.so.*")) or sorted(libraries.glob("*/libLLVM-*.so"))
        if found:
            os.environ["DRJIT_LIBLLVM_PATH"] = str(found[-1])
    import mitsuba as mi

    mi.set_variant(os.environ.get("MI_VARIANT", "llvm_ad_rgb"))
    return mi


def light_of(scene: Scene) -> Picture:
    """What the scene's camera would see if it were a pinhole: linear light, (rows, columns, 3), wider by `MARGIN`."""
    mi = _mitsuba()
    with tempfile.TemporaryDirectory() as folder:
        loaded = mi.load_dict(_Builder(mi, scene, Path(folder)).nodes())
    return _traced(mi, loaded, scene)


class _Builder:
    """Puts a scene together for the renderer; meshes lie in a folder meanwhile."""

    def __init__(self, mi: Any, scene: Scene, folder: Path) -> None:
        self.mi, self.scene, self.folder = mi, scene, folder
        self.rng = np.random.default_rng([scene.seed, 2])

    def nodes(self) -> Nodes:
        """Everything but the camera."""
        s = self.scene
        nodes: Nodes = {"type": "scene", "integrator": {"type": "path", "max_depth": 4, "hide_emitters": False}}
        nodes |= self.opening() if s.subject == "opening" else self.part()
        for i, card in enumerate(s.cards):
            ring = sh.flatten(sh.rounded(card.w, card.h, card.r))
            body = turned(extruded([ring], 0.0, card.thick), *card.place)
            nodes[f"card{i}"] = self.ply(
                f"card{i}", body, self.plastic(self.bitmap(faces.card(card.style, self.rng)), 0.18)
            )
        light, air = self.light()
        for i, b in enumerate(air):
            body = extruded([b.ring], b.z_mm, b.z_mm + blockers.THICK_MM)
            nodes[f"air{i}"] = self.ply(f"air{i}", body, self.matt(AIR_COLOUR))
        sky = [light.sky * c for c in light.sky_tint]
        nodes["sky"] = {"type": "constant", "radiance": {"type": "rgb", "value": sky}}
        return nodes | {f"lamp{i}": self.lamp(lamp) for i, lamp in enumerate(light.lamps)}

    def part(self) -> Nodes:
        """A table, the part on it, and what stands up from the part."""
        s = self.scene
        T = self.mi.ScalarTransform4f().scale(SPAN_MM / 2)
        face = extruded(s.rings, 0.0, s.thickness_mm, rim=s.rim, layered=s.printed)
        size = np.ptp(s.rings[0], axis=0)
        skin = faces.part(s.colour, tuple(size), self.rng, second=s.second, printed=s.printed, dust=s.dust)
        nodes = {
            "table": {"type": "rectangle", "to_world": T, "bsdf": self.matt(self.ground())},
            "part": self.ply("part", face, self.plastic(self.bitmap(skin), s.gloss)),
        }
        if s.raised:
            z = s.thickness_mm
            rings = [sh.flatten(sh.move(loop, *s.place), hole=i > 0) for i, loop in enumerate(s.raised.loops)]
            skin_there = self.plastic({"type": "rgb", "value": list(s.colour)}, s.gloss)
            nodes["raised"] = self.ply("raised", extruded(rings, z, z + s.raised.height_mm), skin_there)
        return nodes

    def opening(self) -> Nodes:
        """A panel with an opening whose upper face is the table, and a floor below."""
        s, half = self.scene, SPAN_MM / 2
        edge = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
        panel = extruded([edge, s.rings[0]], -s.thickness_mm, 0.0, rim=s.rim)
        T = self.mi.ScalarTransform4f().translate([0, 0, -s.thickness_mm - s.depth_mm])
        return {
            "table": self.ply("table", panel, self.matt(self.ground())),
            "floor": {
                "type": "rectangle",
                "to_world": T @ self.mi.ScalarTransform4f().scale(half),
                "bsdf": self.matt(list(s.colour)),
            },
        }

    def light(self) -> tuple[Light, list[blockers.Blocker]]:
        """Lamps and what stands before them; the shade's edge falls across part or card."""
        s, camera = self.scene, self.scene.camera
        light, air = s.lit, []
        edge = self.edge()
        if s.shade == "hand":
            found = blockers.shadow_of_hand(light, edge, camera)
            air = [found] if found else []
        elif s.shade == "phone":
            phone, lamp = blockers.shadow_of_phone(edge, camera, float(self.rng.uniform(0, 360)))
            light, air = light.and_(lamp), [phone]
        if s.glare:
            light = light.and_(
                _mirrored(np.array(shapely.Polygon(s.rings[0]).centroid.coords[0]), s.thickness_mm, camera)
            )
        return light, air

    def edge(self) -> np.ndarray:
        """A point of the outline or of the card's edge, by chance."""
        line = shapely.Polygon(self.scene.rings[0]).exterior
        if self.rng.random() < 0.5:
            line = self.scene.cards[0].body.exterior
        return np.array(line.interpolate(self.rng.random(), normalized=True).coords[0])

    def ground(self) -> Nodes:
        """The table's colours."""
        return self.bitmap(grounds.ground(self.scene.table, self.rng, dust=self.scene.dust))

    def bitmap(self, img: Picture) -> Nodes:
        """A picture as a texture; rows run upwards there."""
        data = self.mi.Bitmap(np.ascontiguousarray(img[::-1], np.float32))
        return {"type": "bitmap", "bitmap": data, "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"}

    def matt(self, colour: Nodes | list[float]) -> Nodes:
        """A surface that scatters."""
        rgb = {"type": "rgb", "value": colour} if isinstance(colour, list) else colour
        return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": rgb}}

    def plastic(self, colour: Nodes, gloss: float) -> Nodes:
        """A surface that also mirrors."""
        skin = {
            "type": "roughplastic",
            "distribution": "ggx",
            "alpha": gloss,
            "int_ior": 1.45,
            "diffuse_reflectance": colour,
        }
        return {"type": "twosided", "bsdf": skin}

    def lamp(self, lamp: Lamp) -> Nodes:
        """A square that shines towards the table's middle."""
        T = self.mi.ScalarTransform4f().look_at(origin=list(map(float, lamp.at)), target=[0, 0, 0], up=[0.1, 0.2, 1])
        shine = {"type": "area", "radiance": {"type": "rgb", "value": lamp.radiance}}
        return {"type": "rectangle", "to_world": T @ self.mi.ScalarTransform4f().scale(lamp.side / 2), "emitter": shine}

    def ply(self, name: str, mesh: Mesh, bsdf: Nodes) -> Nodes:
        """A mesh, by way of a file."""
        m = self.mi.Mesh(name, len(mesh.corners), len(mesh.triangles), has_vertex_texcoords=True)
        p = self.mi.traverse(m)
        p["vertex_positions"] = np.ascontiguousarray(mesh.corners, np.float32).ravel()
        p["faces"] = np.ascontiguousarray(mesh.triangles, np.uint32).ravel()
        p["vertex_texcoords"] = np.ascontiguousarray(mesh.uv, np.float32).ravel()
        p.update()
        path = self.folder / f"{name}.ply"
        m.write_ply(str(path))
        return {"type": "ply", "filename": str(path), "face_normals": True, "bsdf": bsdf}


def _mirrored(at_mm: np.ndarray, z_mm: float, camera: Camera) -> Lamp:
    """A panel of light that the camera sees mirrored in a level face at a point."""
    to_camera = np.array(camera.centre_mm) - [*at_mm, z_mm]
    to_camera /= np.linalg.norm(to_camera)
    x, y, z = np.array([*at_mm, z_mm]) + 650.0 * to_camera * [-1, -1, 1]
    return Lamp((float(x), float(y), float(z)), 70, 1.2, (1.0, 1.0, 1.0))


def _traced(mi: Any, loaded: Any, scene: Scene) -> Picture:
    camera = scene.camera
    margin = round(MARGIN * camera.width)
    w, h = camera.width + 2 * margin, camera.height + 2 * margin
    R, centre = np.array(camera.R), np.array(camera.centre_mm)
    T = mi.ScalarTransform4f().look_at(origin=centre.tolist(), target=(centre + R[2]).tolist(), up=(-R[1]).tolist())
    img = np.empty((h, w, 3), np.float32)
    edges = np.linspace(0, h, STRIPS + 1).astype(int)
    for i, (a, b) in enumerate(pairwise(edges)):
        film = {
            "type": "hdrfilm",
            "width": w,
            "height": h,
            "rfilter": {"type": "box"},
            "pixel_format": "rgb",
            "component_format": "float32",
            "crop_offset_x": 0,
            "crop_offset_y": int(a),
            "crop_width": w,
            "crop_height": int(b - a),
        }
        sensor = {
            "type": "perspective",
            "fov": 2 * math.degrees(math.atan(w / 2 / camera.f)),
            "fov_axis": "x",
            "near_clip": 1.0,
            "far_clip": 5000.0,
            "to_world": T,
            "film": film,
            "sampler": {"type": "multijitter", "sample_count": scene.samples},
        }
        seed = (1000 * i + scene.seed) % 2**31
        img[a:b] = np.array(mi.render(loaded, sensor=mi.load_dict(sensor), spp=scene.samples, seed=seed))
    return img
