#!/usr/bin/env python3
"""shutline against what a person would otherwise script, side by side in one run over the same scan.

Install (Python 3.11 or later):   python3 -m venv venv && venv/bin/pip install open3d scipy numpy
Make a scan:                      cargo run --release -- rehearse --plan sample-scans/gannet.seams.toml --out /tmp/car.ply \\
                                      --scanner ordinary --normals --colour --points 10000000
Run:                              cargo build --release
                                  venv/bin/python benches/compare_with_script.py /tmp/car.ply sample-scans/gannet.seams.toml

The script does only the beginning of the work: it reads the scan, builds a k-d tree and asks it for the points within 45 mm of the
seam curves. shutline does that and all the rest: it measures, judges and writes the report. Each line is wall time with all cores,
then processor time, then the processor time in raw passes: adding up the mapped file once. The best of RUNS rounds counts; the
rounds take turns, so that another load on the machine falls on all alike.
"""

import csv
import pathlib
import resource
import subprocess
import sys
import tempfile
import time
import tomllib

import numpy
import open3d
import scipy.spatial

RUNS = 3
REACH_MM = 45.0
STEP_MM = 5.0


def cpu_seconds():
    """Processor time of this process and its children."""
    usages = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in usages)


def timed(work):
    """Wall time, processor time and the result of some work."""
    cpu, start = cpu_seconds(), time.perf_counter()
    result = work()
    return time.perf_counter() - start, cpu_seconds() - cpu, result


def curve_samples(plan_path):
    """Points along all CSV curves of a plan, at most STEP_MM apart."""
    plan = tomllib.loads(plan_path.read_text())
    samples = []
    for seam in plan["seam"]:
        with open(plan_path.parent / seam["curve"], newline="") as file:
            rows = [row for row in csv.reader(file) if row and row[0].lstrip("-")[:1].isdigit()]
        points = numpy.array([[float(value) for value in row[:3]] for row in rows])
        for start, end in zip(points, points[1:]):
            count = max(1, int(numpy.linalg.norm(end - start) / STEP_MM))
            samples.extend(start + (end - start) * share for share in numpy.arange(count) / count)
    return numpy.array(samples)


def raw_sum(scan):
    """The floor: every byte of the file, mapped, added up eight at a time."""
    words = numpy.memmap(scan, dtype=numpy.uint8, mode="r")
    words = words[: len(words) // 8 * 8].view(numpy.uint64)
    return int(words.sum(dtype=numpy.uint64))


def near_with_scipy(points, samples):
    """Points near the curves by scipy's k-d tree, asked on all cores."""
    tree = scipy.spatial.cKDTree(points, balanced_tree=False, compact_nodes=False)
    found = tree.query_ball_point(samples, REACH_MM, workers=-1)
    return numpy.unique(numpy.concatenate([numpy.asarray(near, dtype=numpy.int64) for near in found])).size


def near_with_open3d(cloud, samples):
    """Points near the curves by Open3D's k-d tree."""
    tree = open3d.geometry.KDTreeFlann(cloud)
    found = [numpy.asarray(tree.search_radius_vector_3d(sample, REACH_MM)[1]) for sample in samples]
    return numpy.unique(numpy.concatenate(found)).size


def shutline(scan, plan, *options):
    """The whole program, from the file to the report."""
    program = pathlib.Path(__file__).parent.parent / "target" / "release" / "shutline"
    with tempfile.TemporaryDirectory() as folder:
        command = [program, "measure", scan, "--plan", plan, "--out", f"{folder}/out", "--quiet", *options]
        status = subprocess.run(command, stdout=subprocess.DEVNULL, check=False).returncode
    if status == 2:
        raise SystemExit("shutline could not measure this scan")
    return status


def main():
    scan, plan = (pathlib.Path(argument) for argument in sys.argv[1:3])
    samples = curve_samples(plan)
    best = {}
    for _ in range(RUNS):
        def note(name, work):
            wall, cpu, result = timed(work)
            if name not in best or cpu < best[name][1]:
                best[name] = (wall, cpu)
            return result

        note("raw pass over the mapped bytes", lambda: raw_sum(scan))
        note("shutline measure, all of it", lambda: shutline(scan, plan))
        note("shutline measure --no-hash", lambda: shutline(scan, plan, "--no-hash"))
        cloud = note("Open3D: read the scan", lambda: open3d.io.read_point_cloud(str(scan)))
        points = numpy.asarray(cloud.points)
        note("scipy: k-d tree, points near seams", lambda: near_with_scipy(points, samples))
        note("Open3D: k-d tree, points near seams", lambda: near_with_open3d(cloud, samples))
    floor = best["raw pass over the mapped bytes"][1]
    print(f"{len(points)} points, {len(samples)} places along the seams")
    for name, (wall, cpu) in best.items():
        print(f"{name:<38} {wall:8.2f} s   processor {cpu:8.2f} s = {cpu / floor:7.1f} raw passes")


if __name__ == "__main__":
    main()
