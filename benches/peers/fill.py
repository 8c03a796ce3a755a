#!/usr/bin/env python3
"""Races the filling of a floor against general-purpose terrain libraries, in one run on the same bytes. See README.md.

    fill.py [--cells 2000] [--rounds 5] [--dir /tmp/undertile-peers] [--ours PATH-TO-fill_npy] [--only NAME ...]
"""
import argparse, json, os, statistics, subprocess, sys, time
from pathlib import Path

import numpy as np


def surface(n: int, rough: bool) -> np.ndarray:
    """Metres on 1 mm cells: a fall of 1:80 to a channel along row 0, unevenness of 1 mm over 60 mm, dips of 1.5 to 5 mm;
    rough: white noise of 0.3 mm on top, as from a scanner. The other three edges are walls, so the channel is the only
    place lower than its surroundings and libraries that drain at every edge give the same answer."""
    from scipy import ndimage

    rng = np.random.default_rng(7_000_003 + n)
    y, x = np.mgrid[0:n, 0:n]
    z = y * 1.25e-5
    step = 15
    coarse = ndimage.gaussian_filter(rng.standard_normal((n // step + 8,) * 2), 2.0, mode="reflect")
    uneven = ndimage.zoom(coarse, step, order=3)[:n, :n]
    z += (uneven - uneven.mean()) / uneven.std() * 1e-3
    for _ in range(max(6, 3 * n * n // 1_000_000)):
        (cx, cy), radius, depth = rng.uniform(0.1 * n, 0.9 * n, 2), rng.uniform(50, 200), rng.uniform(1.5e-3, 5e-3)
        z -= depth * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * radius**2))
    if rough:
        z += rng.standard_normal(z.shape) * 3e-4
    z[-1, :] = z[:, 0] = z[:, -1] = z.max() + 0.2
    z[0, :] = z[1, :].min() - 1e-3
    return z.astype("f4")


def timed(work):
    begin = time.perf_counter()
    filled = work()
    return time.perf_counter() - begin, filled


def topotoolbox(z, hybrid):
    import topotoolbox as tt

    grid = tt.GridObject()
    grid.z, grid.cellsize = z, 1.0
    seconds, filled = timed(lambda: grid.fillsinks(hybrid=hybrid))
    return seconds, filled.z


def richdem(z):
    import richdem as rd

    array = rd.rdarray(z, no_data=-9999)
    seconds, filled = timed(lambda: rd.FillDepressions(array, in_place=False))
    return seconds, np.asarray(filled)


def skimage(z):
    from skimage.morphology import reconstruction

    seed = z.copy()
    seed[1:-1, 1:-1] = z.max()
    return timed(lambda: reconstruction(seed, z, method="erosion"))


PEERS = {
    "TopoToolbox hybrid": lambda z: topotoolbox(z, True),
    "TopoToolbox sequential": lambda z: topotoolbox(z, False),
    "RichDEM (Python)": richdem,
    "scikit-image reconstruction": skimage,
}


def one(name: str, path: Path):
    """One run of one peer in a process of its own: only the filling is timed, not reading, importing or warming up."""
    z = np.load(path)
    seconds, filled = PEERS[name](z)
    print(json.dumps({"ns": seconds / z.size * 1e9, "sum": float(np.sum(filled, dtype="f8"))}))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cells", type=int, default=2000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--dir", type=Path, default=Path("/tmp/undertile-peers"))
    parser.add_argument("--ours", type=Path, default=Path(os.environ.get("CARGO_TARGET_DIR", "target")) / "release/examples/fill_npy")
    parser.add_argument("--only", nargs="*", default=list(PEERS))
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.one:
        return one(args.one[0], Path(args.one[1]))
    args.dir.mkdir(parents=True, exist_ok=True)
    runs = {f"undertile {what}, {k} thread{'s' if k > 1 else ''}": [str(args.ours), what, str(k)] for what in ("levels", "ponds") for k in (1, 2)}
    runs |= {name: [sys.executable, __file__, "--one", name] for name in args.only}
    for kind in ("smooth", "rough"):
        path = args.dir / f"{kind}_{args.cells}.npy"
        if not path.exists():
            np.save(path, surface(args.cells, kind == "rough"))
        found = {name: [] for name in runs}
        for _ in range(args.rounds):
            for name, command in runs.items():
                out = subprocess.run(command + [str(path)], check=True, capture_output=True, text=True).stdout
                found[name].append(json.loads(out.splitlines()[-1]))
        sums = {name: results[0]["sum"] for name, results in found.items()}
        reference = sums["undertile levels, 1 thread"]
        ours = {name: statistics.median(r["ns"] for r in results) for name, results in found.items()}
        print(f"\n{kind} floor, {args.cells} x {args.cells} cells, {args.rounds} rounds, load {os.getloadavg()[0]:.1f}")
        print(f"{'':32} ns per cell    slower than levels on 2 threads   sum")
        for name, ns in ours.items():
            agrees = abs(sums[name] - reference) <= 1e-9 * abs(reference)
            print(f"{name:32} {ns:11.2f} {ns / ours['undertile levels, 2 threads']:14.2f} {'':18} {sums[name]:.6f}{'' if agrees else '  DISAGREES'}")
            if not agrees:
                sys.exit(f"{name}: sum {sums[name]} is not {reference}")


if __name__ == "__main__":
    main()
