"""Best fit beside general-purpose registration libraries, on the same pairs in one run.

    python3 -m venv peers && peers/bin/pip install numpy small_gicp open3d
    mkdir pairs
    PEERS=$PWD/pairs SEEDS=20 cargo test --release --test it pairs_for_registration_peers -- --ignored --nocapture
    peers/bin/python benches/registration_peers.py pairs

The pairs: a made-up front end (tests/it/recovery/front_end.rs) scanned with noise, 30 % missing, 5 % strays and the hood moved
by 3 mm, 10 degrees and 50 mm off. shutline gets the whole reference and finds the fixed panels by the plan; the peers
get the fixed panels alone as reference, which is easier: no moved panel pulls at them but through its rim.
Each peer runs coarse to fine with settings that are a first guess and could surely be improved; reading files and preparing the
reference (normals, search tree) are not counted for anybody. Time is given by the wall clock and of all processors together
(shutline aligns on one thread, the peers on two): on a busy machine only the latter can be compared. Errors: largest displacement over the seams, and turn.
"""

import sys
import time
from pathlib import Path

import numpy as np

folder = Path(sys.argv[1])


def points(path):
    """Without the few points at the very front where the car's formula has no normal; shutline leaves them out too."""
    read = np.loadtxt(path)
    return read[np.isfinite(read).all(axis=1)]


seams = np.loadtxt(folder / "seams.xyz")
reference = points(folder / "reference-fixed.xyz")


def errors(found, truth):
    apart = found @ np.linalg.inv(truth)
    moved = seams @ apart[:3, :3].T + apart[:3, 3] - seams
    cosine = np.clip((np.trace(apart[:3, :3]) - 1.0) / 2.0, -1.0, 1.0)
    return np.linalg.norm(moved, axis=1).max(), np.degrees(np.arccos(cosine))


def small_gicp_peer(kind):
    import small_gicp

    stages = []
    for cell, reach in ((30.0, 120.0), (8.0, 20.0), (3.0, 2.0), (1.5, 0.3)):
        target, tree = small_gicp.preprocess_points(reference, downsampling_resolution=cell, num_threads=2)
        stages.append((cell, reach, target, tree))

    def run(scan):
        pose = np.eye(4)
        for cell, reach, target, tree in stages:
            source, _ = small_gicp.preprocess_points(scan, downsampling_resolution=cell, num_threads=2)
            result = small_gicp.align(
                target, source, tree, pose, registration_type=kind, max_correspondence_distance=reach, num_threads=2
            )
            pose = result.T_target_source
        return pose

    return run


def open3d_peer():
    import open3d as o3d

    registration = o3d.pipelines.registration
    stages = []
    for cell, reach, scale in ((30.0, 120.0, 30.0), (8.0, 20.0, 5.0), (3.0, 3.0, 0.5), (1.5, 0.5, 0.08)):
        target = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(reference)).voxel_down_sample(cell)
        target.estimate_normals(o3d.geometry.KDTreeSearchParamHybrid(radius=3.0 * cell, max_nn=30))
        stages.append((cell, reach, scale, target))

    def run(scan):
        pose = np.eye(4)
        cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(scan))
        for cell, reach, scale, target in stages:
            source = cloud.voxel_down_sample(cell)
            method = registration.TransformationEstimationPointToPlane(registration.TukeyLoss(k=scale))
            criteria = registration.ICPConvergenceCriteria(1e-9, 1e-9, 60)
            pose = registration.registration_icp(source, target, reach, pose, method, criteria).transformation
        return pose

    return run


def peers():
    for name, make in (
        ("small_gicp GICP", lambda: small_gicp_peer("GICP")),
        ("small_gicp point to plane", lambda: small_gicp_peer("PLANE_ICP")),
        ("Open3D point to plane, Tukey", open3d_peer),
    ):
        try:
            yield name, make()
        except ImportError as error:
            print(f"{name}: not installed ({error})")


def show(name, rows):
    rows = np.array(rows)
    good = (rows[:, 0] <= 0.02) & (rows[:, 1] <= 0.005)
    quantiles = np.quantile(rows[:, 0], [0.5, 0.95])
    print(
        f"{name:30s} in budget {good.sum():3d} of {len(rows)}; error mm: median {quantiles[0]:.4f}, 95 % {quantiles[1]:.4f}, "
        f"worst {rows[:, 0].max():.4f}; seconds: median {np.median(rows[:, 2]):.2f}, of processors {np.median(rows[:, 3]):.2f}"
    )


own = np.genfromtxt(folder / "shutline.csv", delimiter=",", skip_header=1)
show("shutline", own[:, 1:])
scans = [(points(folder / f"scan-{int(seed)}.xyz"), np.loadtxt(folder / f"truth-{int(seed)}.txt")) for seed in own[:, 0]]
for name, run in peers():
    rows = []
    for scan, truth in scans:
        started, processor = time.perf_counter(), time.process_time()
        found = run(scan)
        seconds = time.perf_counter() - started, time.process_time() - processor
        rows.append((*errors(found, truth), *seconds))
    show(name, rows)
