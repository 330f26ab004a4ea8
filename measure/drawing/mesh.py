"""A solid as 3MF and STL.

3MF core specification 1.x (3MF Consortium): a ZIP package of one XML model, here in millimetres. STL, binary: its
lengths have no unit; slicers take millimetres.
"""

from __future__ import annotations

import io
import zipfile
from xml.sax.saxutils import quoteattr

import numpy as np

from calib.written import printable
from measure.printing.solids import Mesh

TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>'
    "</Relationships>\n"
)
EPOCH = (1980, 1, 1, 0, 0, 0)
"""The time that stands in the package: the same solid gives the same file."""


def write_3mf(mesh: Mesh, name: str) -> bytes:
    """A 3MF package, unit millimetre.

    Args:
        mesh: the solid's surface.
        name: of the object.
    """
    vertices = "".join(f'<vertex x="{x:.5f}" y="{y:.5f}" z="{z:.5f}"/>' for x, y, z in mesh.vertices_mm.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.triangles.tolist())
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<model unit="millimeter" xml:lang="en" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<resources><object id="1" type="model" name={quoteattr(printable(name))}><mesh>'
        f"<vertices>{vertices}</vertices><triangles>{triangles}</triangles>"
        '</mesh></object></resources><build><item objectid="1"/></build></model>\n'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for path, text in (("[Content_Types].xml", TYPES), ("_rels/.rels", RELATIONS), ("3D/3dmodel.model", model)):
            package.writestr(zipfile.ZipInfo(path, EPOCH), text, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def write_stl(mesh: Mesh) -> bytes:
    """A binary STL file, millimetres."""
    corners = mesh.vertices_mm[mesh.triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    facets = np.zeros(len(corners), np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]))
    facets["normal"], facets["corners"] = normal, corners
    return b"millimetres".ljust(80, b"\0") + np.uint32(len(corners)).tobytes() + facets.tobytes()
