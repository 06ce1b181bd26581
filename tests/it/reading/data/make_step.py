"""Makes the ocp-*.step files of this folder's second set and their truth, with Open CASCADE through cadquery-ocp.

Every edge's truth is what the kernel itself says: its length and points at equal steps of its parameter.
"""
import sys, csv, math
from OCP.gp import gp_Pnt, gp_Dir, gp_Vec, gp_Ax2, gp_Trsf, gp_Ax1
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakePrism
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeWire, BRepBuilderAPI_MakeFace
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.GCPnts import GCPnts_AbscissaPoint
from OCP.Geom import Geom_BSplineCurve
from OCP.TopExp import TopExp_Explorer
from OCP.TopAbs import TopAbs_EDGE
from OCP.TopoDS import TopoDS
from OCP.TopLoc import TopLoc_Location
from OCP.collections import Array1_gp_Pnt, Array1_double, Array1_int
from OCP.STEPControl import STEPControl_Writer, STEPControl_AsIs
from OCP.STEPCAFControl import STEPCAFControl_Writer
from OCP.Interface import Interface_Static
from OCP.TDocStd import TDocStd_Document
from OCP.TCollection import TCollection_ExtendedString
from OCP.XCAFDoc import XCAFDoc_DocumentTool
from OCP.TDataStd import TDataStd_Name
out = sys.argv[1]

def edge_of(s):
    return TopoDS.Edge_s(s) if hasattr(TopoDS, "Edge_s") else TopoDS.Edge(s)

def edges(shape):
    seen, found = [], []
    walk = TopExp_Explorer(shape, TopAbs_EDGE)
    while walk.More():
        e = edge_of(walk.Current())
        if not any(e.IsSame(o) for o in seen):
            seen.append(e); found.append(e)
        walk.Next()
    return found

def truth(name, rows):
    with open(f"{out}/{name}.csv", "w", newline="") as f:
        w = csv.writer(f)
        w.writerow(["edge", "length", "x", "y", "z"])
        w.writerows(rows)

def rows_of(shape, scale=1.0, kinds=None):
    rows = []
    for i, e in enumerate(edges(shape)):
        c = BRepAdaptor_Curve(e)
        length = GCPnts_AbscissaPoint.Length_s(c, 1e-10)
        a, b = c.FirstParameter(), c.LastParameter()
        for k in range(9):
            p = c.Value(a + (b - a) * k / 8)
            rows.append([i] + [repr(v * scale) for v in (length, p.X(), p.Y(), p.Z())])
    return rows

def write(name, shape, schema, unit="MM", mode=STEPControl_AsIs):
    w = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.schema", schema)
    Interface_Static.SetCVal_s("write.step.unit", unit)
    w.Transfer(shape, mode)
    w.Write(f"{out}/{name}.step")
    Interface_Static.SetCVal_s("write.step.unit", "MM")

def pnts(ps):
    a = Array1_gp_Pnt(1, len(ps))
    for i, p in enumerate(ps): a.SetValue(i + 1, gp_Pnt(*p))
    return a
def reals(v):
    a = Array1_double(1, len(v))
    for i, x in enumerate(v): a.SetValue(i + 1, x)
    return a
def ints(v):
    a = Array1_int(1, len(v))
    for i, x in enumerate(v): a.SetValue(i + 1, x)
    return a

# 1. A box with rounded edges, AP214, mm: lines, arcs, circles' pieces.
box = BRepPrimAPI_MakeBox(40., 30., 20.).Shape()
fillet = BRepFilletAPI_MakeFillet(box)
for e in edges(box): fillet.Add(3.0, e)
rounded = fillet.Shape()
write("ocp-rounded-box", rounded, "AP214IS"); truth("ocp-rounded-box", rows_of(rounded))

# 2. A prism whose outline has a rational spline with uneven knots, an elliptic arc and lines, AP203, inch.
s = Geom_BSplineCurve(pnts([(0,0,0),(10,20,0),(30,-10,0),(50,15,0),(70,0,0),(80,5,0)]), reals([1,2,1,0.5,1,1]),
                      reals([0,0.3,2.5,3.0]), ints([4,1,1,4]), 3)
from OCP.gp import gp_Elips
e1 = BRepBuilderAPI_MakeEdge(s).Edge()
el = gp_Elips(gp_Ax2(gp_Pnt(80,25,0), gp_Dir(0,0,1), gp_Dir(0,1,0)), 20., 12.)
e2 = BRepBuilderAPI_MakeEdge(el, gp_Pnt(80,5,0), gp_Pnt(80,45,0)).Edge()
e3 = BRepBuilderAPI_MakeEdge(gp_Pnt(80,45,0), gp_Pnt(0,45,0)).Edge()
e4 = BRepBuilderAPI_MakeEdge(gp_Pnt(0,45,0), gp_Pnt(0,0,0)).Edge()
wire = BRepBuilderAPI_MakeWire(e1, e2, e3, e4).Wire()
prism = BRepPrimAPI_MakePrism(BRepBuilderAPI_MakeFace(wire).Face(), gp_Vec(3,2,25)).Shape()
write("ocp-prism-inch", prism, "AP203", "INCH"); truth("ocp-prism-inch", rows_of(prism, 1/25.4))

# 3. The wire alone, as a wireframe, AP242, and in metres.
write("ocp-wire-242", wire, "AP242DIS"); truth("ocp-wire-242", rows_of(wire))
write("ocp-wire-metre", wire, "AP242DIS", "M")

# 4. An assembly: a part with a named edge, built in twice, one of them in a sub-assembly; AP242.
from OCP.XCAFApp import XCAFApp_Application
app = XCAFApp_Application.GetApplication_s()
doc = TDocStd_Document(TCollection_ExtendedString("XmlOcaf")); app.InitDocument(doc)
tool = XCAFDoc_DocumentTool.ShapeTool_s(doc.Main())
def name(label, text): TDataStd_Name.Set_s(label, TCollection_ExtendedString(text))
part = tool.AddShape(rounded, False); name(part, "door skin")
named = edges(rounded)[4]
sub = tool.AddSubShape(part, named); name(sub, "hem edge")
top = tool.NewShape(); name(top, "body")
t1 = gp_Trsf(); t1.SetTranslation(gp_Vec(100, 0, 0))
t2 = gp_Trsf(); t2.SetRotation(gp_Ax1(gp_Pnt(0,0,0), gp_Dir(0,0,1)), math.pi/3)
t3 = gp_Trsf(); t3.SetTranslation(gp_Vec(0, 200, 50))
group = tool.NewShape(); name(group, "left doors")
c0 = tool.AddComponent(group, part, TopLoc_Location(t2)); name(c0, "left one")
name(tool.AddComponent(top, part, TopLoc_Location(t1)), "right one")
name(tool.AddComponent(top, group, TopLoc_Location(t3)), "group")
tool.UpdateAssemblies()
Interface_Static.SetCVal_s("write.step.schema", "AP242DIS")
Interface_Static.SetIVal_s("write.stepcaf.subshapes.name", 1)
w = STEPCAFControl_Writer(); w.SetNameMode(True)
try: w.Transfer(doc, STEPControl_AsIs)
except TypeError:
    from OCP.Message import Message_ProgressRange
    w.Transfer(doc, STEPControl_AsIs, "", Message_ProgressRange())
w.Write(f"{out}/ocp-assembly.step")
both = rows_of(rounded.Moved(TopLoc_Location(t1)))
n = len(edges(rounded))
both += [[r[0] + n] + r[1:] for r in rows_of(rounded.Moved(TopLoc_Location(t3 * t2)))]
truth("ocp-assembly", both)
print("edges", n, "named", 4)

# 5. Pieces of a parabola and of a hyperbola, one of them against its sense, with a line between them; wireframe, AP214.
from OCP.gp import gp_Parab, gp_Hypr
from OCP.BRep import BRep_Builder
from OCP.TopoDS import TopoDS_Compound
axes = gp_Ax2(gp_Pnt(5, -3, 2), gp_Dir(1, 2, 3), gp_Dir(2, -1, 0))
parabola = BRepBuilderAPI_MakeEdge(gp_Parab(axes, 12.5), -40., 90.).Edge()
hyperbola = BRepBuilderAPI_MakeEdge(gp_Hypr(axes, 30., 18.), -1.5, 2.2).Edge()
wide = BRepBuilderAPI_MakeEdge(gp_Hypr(gp_Ax2(gp_Pnt(0, 0, 200), gp_Dir(0, 0, 1)), 8., 25.), 0.5, 3.0).Edge()
line = BRepBuilderAPI_MakeEdge(gp_Pnt(0, 0, 100), gp_Pnt(50, 0, 100)).Edge()
conics, build = TopoDS_Compound(), BRep_Builder()
build.MakeCompound(conics)
for e in (parabola, hyperbola, wide.Reversed(), line): build.Add(conics, e)
write("ocp-conics", conics, "AP214IS"); truth("ocp-conics", rows_of(conics))
