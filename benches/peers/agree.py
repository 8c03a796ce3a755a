#!/usr/bin/env python3
"""Checks levels and volumes of filled floors with outlets anywhere against general-purpose libraries. See README.md.

    agree.py [--floors 240] [--ours PATH-TO-fill_npy]

Each floor is filled by undertile, TopoToolbox and scikit-image; levels must agree to 1e-9 m in every cell, volumes to
1e-9 of themselves. Ends with 1 at the first that does not; `--fault` plants one (a pond a micrometre too high) and must fail.
"""
import argparse, json, os, subprocess, sys, tempfile
from pathlib import Path

import numpy as np


def floor(rng: np.random.Generator):
    """Heights in metres and where the outlets are: a fall in some direction, unevenness, noise, sometimes steps that make
    level ground; one to four outlets inside, each a few cells wide, lower than all around them; a wall around everything."""
    from scipy import ndimage

    ny, nx = rng.integers(12, 160, 2)
    y, x = np.mgrid[0:ny, 0:nx]
    direction = rng.uniform(0, 2 * np.pi)
    z = (np.cos(direction) * x + np.sin(direction) * y) * rng.choice([0, 1e-5, 1e-4])
    z = z + ndimage.gaussian_filter(rng.standard_normal((ny, nx)), rng.uniform(1, 8)) * rng.choice([1e-3, 1e-2])
    z += rng.standard_normal((ny, nx)) * rng.choice([0, 3e-4, 3e-3])
    if rng.random() < 0.3:
        z = np.round(z, 4)
    outlet = np.zeros((ny, nx), bool)
    for _ in range(rng.integers(1, 5)):
        j, i, r = rng.integers(2, ny - 2), rng.integers(2, nx - 2), rng.uniform(0, 3)
        outlet |= (y - j) ** 2 + (x - i) ** 2 <= r * r
    outlet[[0, -1], :] = outlet[:, [0, -1]] = False
    z[[0, -1], :] = z[:, [0, -1]] = z.max() + 1.0
    z = z.astype("f4").astype("f8")  # one of the peers computes in float32: levels are heights, so they come back exactly
    z[outlet] = z.min() - 0.5
    return z, outlet


def topotoolbox(z, outlet):
    import topotoolbox as tt

    grid = tt.GridObject()
    grid.z, grid.cellsize = np.where(outlet, np.nan, z).astype("f4"), 1.0  # water leaves at cells without a number
    return grid.fillsinks().z.astype("f8")


def skimage(z, outlet):
    from skimage.morphology import reconstruction

    return reconstruction(np.where(outlet, z, z.max()), z, method="erosion", footprint=np.ones((3, 3)))


PEERS = {"TopoToolbox": topotoolbox, "scikit-image": skimage}


def ours(program, z, outlet, folder):
    paths = [folder / name for name in ("z.npy", "outlet.npy", "levels.npy")]
    np.save(paths[0], np.ascontiguousarray(z))
    np.save(paths[1], np.ascontiguousarray(outlet))
    out = subprocess.run([program, "ponds", "1", *map(str, paths)], check=True, stdout=subprocess.PIPE, text=True).stdout
    return np.load(paths[2]), json.loads(out)["depth_sum"]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--floors", type=int, default=240)
    parser.add_argument("--ours", type=Path, default=Path(os.environ.get("CARGO_TARGET_DIR", "target")) / "release/examples/fill_npy")
    parser.add_argument("--fault", action="store_true")
    args = parser.parse_args()
    worst = {name: [0.0, 0.0] for name in PEERS}
    ponded = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(args.floors):
            z, outlet = floor(np.random.default_rng(seed))
            levels, volume = ours(args.ours, z, outlet, Path(folder))
            ponded += volume > 0
            if args.fault and (levels > z).any():
                levels[np.unravel_index(np.argmax(levels - z), z.shape)] += 1e-6
            for name, fill in PEERS.items():
                filled = fill(z, outlet)
                depth = float(np.abs(np.where(outlet, 0, filled - levels)).max())
                volume_there = float(np.where(outlet, 0, filled - z).sum())
                share = abs(volume - volume_there) / max(volume_there, 1e-12)
                worst[name] = [max(worst[name][0], depth), max(worst[name][1], share)]
                if depth > 1e-9 or share > 1e-9:
                    sys.exit(f"floor {seed} {z.shape}: {name} differs by {depth} m, volume by {share} of itself")
    print(f"{args.floors} floors, {ponded} with ponds; largest differences:")
    for name, (depth, share) in worst.items():
        print(f"  {name:14} level {depth:.2e} m   volume {share:.2e} of itself")


if __name__ == "__main__":
    main()
