"""Makes ezdxf-more.dxf, ezdxf-inch.dxf and their truth, with ezdxf 1.4.5: points and lengths are ezdxf's own.

Truth: for each layer, in the order of travel, points of ezdxf's construction tools (flattened to 1e-6 of a unit).
"""
import csv, math, sys
import ezdxf
import numpy as np
from ezdxf.math import closed_uniform_bspline
from scipy.interpolate import BSpline
out = sys.argv[1]
rows = []

def truth(layer, points):
    length = sum(a.distance(b) for a, b in zip(points, points[1:]))
    step = max(1, len(points) // 24)
    kept = points[::step] + ([points[-1]] if (len(points) - 1) % step else [])
    for p in kept:
        rows.append([layer, repr(length), repr(p.x), repr(p.y), repr(p.z)])

def flat(entity):
    """Arcs and ellipses by themselves: ezdxf's paths replace them by cubics, which are off by up to 0.0003 of the radius."""
    kind = entity.dxftype()
    if kind in ("ARC", "CIRCLE", "ELLIPSE"):
        return list(entity.flattening(1e-6))
    if kind == "LINE":
        return [entity.dxf.start, entity.dxf.end]
    points = []
    for piece in entity.virtual_entities():
        run = flat(piece)
        if points and not points[-1].isclose(run[0], abs_tol=1e-9):
            run.reverse()
        if len(points) == 0:
            points = run
        else:
            assert points[-1].isclose(run[0], abs_tol=1e-9)
            points += run[1:]
    return points

doc = ezdxf.new("R2010"); doc.units = ezdxf.units.MM
msp = doc.modelspace()
def add(layer, entity, reverse=False):
    entity.dxf.layer = layer
    points = flat(entity)
    truth(layer, points[::-1] if reverse else points)

tilted = (1, 2, 3)
add("tilted arc", msp.add_arc((5, -3, 2), 7, 200, 20, dxfattribs={"extrusion": tilted}))
add("mirrored arc", msp.add_arc((5, -3, 2), 7, 10, 100, dxfattribs={"extrusion": (0, 0, -1)}))
add("tilted circle", msp.add_circle((1, 1, 1), 4, dxfattribs={"extrusion": tilted}))
add("bulges", msp.add_lwpolyline([(0, 0, 0.5), (10, 0, -0.3), (20, 5, 0), (30, 5, 1.0), (30, 25, 0)], format="xyb", dxfattribs={"elevation": 4}))
add("closed", msp.add_lwpolyline([(0, 0, 0), (10, 0, 0.4), (10, 10, 0), (0, 10, -1.2)], format="xyb", close=True))
add("tilted polyline", msp.add_lwpolyline([(0, 0, 0.2), (8, 1, 0), (9, 9, 0)], format="xyb", dxfattribs={"extrusion": tilted, "elevation": -2}))
add("old polyline", msp.add_polyline2d([(0, 0, 0.3), (10, 0, 0), (10, 10, -0.6), (0, 20, 0)], format="xyb"))
add("space polyline", msp.add_polyline3d([(0, 0, 0), (1, 2, 3), (4, 4, 4)], close=True))
add("ellipse", msp.add_ellipse((1, 2, 3), (8, 0, 6), 0.4, 0.7, 5.1))
def add_spline(layer, entity):
    entity.dxf.layer = layer
    bs = entity.construction_tool()
    truth(layer, list(bs.flattening(1e-6, 16)))
poles = [(0, 0, 0), (10, 20, 5), (30, -10, 0), (50, 15, 2), (70, 0, 0), (80, 5, 0)]
s = msp.add_spline(degree=3); s.control_points = poles; s.knots = [0, 0, 0, 0, 0.3, 2.5, 3, 3, 3, 3]; add_spline("uneven spline", s)
s = msp.add_rational_spline(poles, [1, 2, 1, 0.5, 1, 1], degree=3, knots=[0, 0, 0, 0, 0.3, 2.5, 3, 3, 3, 3]); add_spline("rational spline", s)
# A closed spline has knots beyond its range, where ezdxf's own flattening goes on; its truth is scipy's, on the range alone.
s = msp.add_spline(degree=3, dxfattribs={"layer": "closed spline"})
s.apply_construction_tool(closed_uniform_bspline([(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 3)], order=4))
knots, ring = np.array(s.knots), np.array(s.control_points)
at = BSpline(knots, ring, 3)(np.linspace(knots[3], knots[len(ring)], 20001))
truth("closed spline", [ezdxf.math.Vec3(p) for p in at])
s = msp.add_open_spline(poles, degree=5); add_spline("quintic", s)
# Pieces of one curve, out of order and turned round: an arc between two lines.
def piece(e): e.dxf.layer = "pieces"
piece(msp.add_line((20, 5, 0), (15, 5, 0)))
piece(msp.add_line((0, 0, 0), (10, 0, 0)))
piece(msp.add_arc((10, 5, 0), 5, 270, 0))
points = [ezdxf.math.Vec3(20, 5, 0), ezdxf.math.Vec3(15, 5, 0)] + flat(msp.query('ARC[layer=="pieces"]').first)[::-1][1:] + [ezdxf.math.Vec3(0, 0, 0)]
truth("pieces", points)
# What is no curve of the car: a frame on paper, a mesh, a text, a block.
doc.layout("Layout1").add_line((0, 0), (1, 1), dxfattribs={"layer": "paper"})
msp.add_polymesh((2, 2)).dxf.layer = "mesh"
msp.add_text("words").dxf.layer = "text"
block = doc.blocks.new("b"); block.add_line((0, 0), (1, 0)); msp.add_blockref("b", (0, 0)).dxf.layer = "block"
doc.saveas(f"{out}/ezdxf-more.dxf")
with open(f"{out}/ezdxf-more.csv", "w", newline="") as f:
    w = csv.writer(f); w.writerow(["layer", "length", "x", "y", "z"]); w.writerows(rows)

small = ezdxf.new("R2000"); small.header["$INSUNITS"] = 1
small.modelspace().add_line((0, 0, 0), (2, 0, 1), dxfattribs={"layer": "seam"})
small.saveas(f"{out}/ezdxf-inch.dxf")
feet = ezdxf.new("R2000"); feet.header["$INSUNITS"] = 2
feet.modelspace().add_line((0, 0, 0), (2, 0, 1), dxfattribs={"layer": "seam"})
feet.saveas(f"{out}/ezdxf-feet.dxf")

# Blocks: truth is what ezdxf's own inserts draw ("virtual entities"), joined line first, then arc.
rows = []
doc = ezdxf.new("R2010"); doc.units = ezdxf.units.MM
msp = doc.modelspace()
hook = doc.blocks.new("Hook", base_point=(1, 2, 3))
hook.add_line((0, 0, 1), (10, 0, 1)); hook.add_arc((10, 5, 1), 5, 270, 0)
hook.add_line((0, 0, 0), (0, 7, 0), dxfattribs={"layer": "own"})
pair = doc.blocks.new("pair", base_point=(-2, 0, 0))
pair.add_blockref("hook", (4, 5, 6), dxfattribs={"rotation": 25, "xscale": 1.5, "yscale": 1.5, "zscale": 1.5})

def drawn(insert):
    found = []
    for piece in insert.virtual_entities():
        if piece.dxftype() == "INSERT":
            found += drawn(piece)
        elif piece.dxf.layer != "own":
            found.append(flat(piece))
    return found

def insert(layer, name, place, **attributes):
    made = msp.add_blockref(name, place, dxfattribs={"layer": layer, **attributes})
    for index, one in enumerate(made.multi_insert() if made.mcount > 1 else [made]):
        line, arc = drawn(one)
        if not line[-1].isclose(arc[0], abs_tol=1e-9):
            arc.reverse()
        assert line[-1].isclose(arc[0], abs_tol=1e-9)
        truth(layer if index == 0 else f"{layer}-{index + 1}", line + arc[1:])

insert("placed", "HOOK", (100, 50, 5))
insert("turned", "hook", (3, 4, 5), rotation=33, xscale=2, yscale=2, zscale=2)
insert("mirrored", "hook", (3, 4, 5), rotation=-70, xscale=-1)
insert("stretched", "hook", (3, 4, 5), rotation=12, xscale=3, yscale=0.5)
insert("tilted", "hook", (3, 4, 5), rotation=40, extrusion=(1, 2, 3))
insert("rows", "hook", (0, 0, 0), rotation=15, column_count=3, row_count=2, column_spacing=40, row_spacing=60, xscale=1.2, yscale=1.2, zscale=1.2)
insert("nested", "pair", (7, 8, 9), rotation=-20, extrusion=(0, 1, 0.2))
doc.saveas(f"{out}/ezdxf-blocks.dxf")
with open(f"{out}/ezdxf-blocks.csv", "w", newline="") as f:
    w = csv.writer(f); w.writerow(["layer", "length", "x", "y", "z"]); w.writerows(rows)
