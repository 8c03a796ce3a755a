#!/usr/bin/env python3
"""Races the structure tensor of a 12-megapixel picture against OpenCV, in one run on the same bytes. See README.md.

    orientation.py [--rounds 5] [--dir /tmp/undertile-peers] [--ours PATH-TO-tensor_npy]
"""
import argparse, json, os, statistics, subprocess, sys, time
from pathlib import Path

import numpy as np


def picture(height: int = 3000, width: int = 4000):
    """Brush marks whose direction turns slowly, as noise drawn out along sixteen directions and blended; and that direction, radians
    from the column axis towards the row axis."""
    import cv2

    rng = np.random.default_rng(12)
    y, x = np.mgrid[0:height, 0:width].astype("f4")
    angle = (0.5 + 0.5 * np.sin(x / 800) + 0.6 * np.cos(y / 650)).astype("f4")
    noise = rng.standard_normal((height, width), dtype="f4")
    total, weights = np.zeros_like(noise), np.zeros_like(noise)
    for turn in np.arange(16) * np.pi / 16:
        kernel = np.zeros((33, 33), "f4")
        dx, dy = 15 * np.cos(turn), 15 * np.sin(turn)
        cv2.line(kernel, (round(16 - dx), round(16 - dy)), (round(16 + dx), round(16 + dy)), 1.0, 1, cv2.LINE_AA)
        weight = np.abs(np.cos(angle - turn)) ** 100
        total += weight * cv2.filter2D(noise, -1, kernel / np.linalg.norm(kernel))
        weights += weight
    grey = 128 + 25 * total / weights + 4 * rng.standard_normal((height, width), dtype="f4")
    return np.clip(grey, 0, 255).astype("u1"), angle


def tensor(cv2, grey, sigma):
    grey = grey.astype("f4")
    sobel = lambda x, y: cv2.Sobel(grey, cv2.CV_32F, x, y, borderType=cv2.BORDER_REPLICATE)
    gx, gy = sobel(1, 0), sobel(0, 1)
    r = int(4 * sigma + 0.5)
    smooth = lambda q: cv2.GaussianBlur(q, (2 * r + 1, 2 * r + 1), sigma, borderType=cv2.BORDER_REPLICATE)
    return smooth(gy * gy), smooth(gx * gy), smooth(gx * gx)


def orientation(cv2, grey, sigma):
    rr, rc, cc = tensor(cv2, grey, sigma)
    length, doubled = cv2.cartToPolar(cc - rr, 2 * rc)
    return doubled * 0.5 + np.float32(np.pi / 2), length / (rr + cc + 1e-9)


def box(cv2, grey, sigma):
    """OpenCV's own single call: a box of about the Gaussian's variance, eigenvalues and eigenvectors of every pixel."""
    return (cv2.cornerEigenValsAndVecs(grey, int(np.sqrt(12) * sigma) | 1, 3),)


def one(name: str, sigma: float, threads: int, path: Path):
    """One run of OpenCV in a process of its own: importing and warming up are not timed."""
    import cv2

    cv2.setNumThreads(threads)
    grey = np.load(path)
    work = {"tensor": tensor, "orientation": orientation, "box": box}[name]
    work(cv2, grey[:64, :64].copy(), sigma)
    begin = time.perf_counter()
    planes = work(cv2, grey, sigma)
    ns = (time.perf_counter() - begin) / grey.size * 1e9
    print(json.dumps({"ns": ns, "sum": float(sum(np.sum(plane.ravel()[:: plane.shape[1] + 1], dtype="f8") for plane in planes))}))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--dir", type=Path, default=Path("/tmp/undertile-peers"))
    parser.add_argument("--ours", type=Path, default=Path(os.environ.get("CARGO_TARGET_DIR", "target")) / "release/examples/tensor_npy")
    parser.add_argument("--one", nargs=4, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.one:
        return one(args.one[0], float(args.one[1]), int(args.one[2]), Path(args.one[3]))
    args.dir.mkdir(parents=True, exist_ok=True)
    path = args.dir / "photo.npy"
    if not path.exists():
        np.save(path, picture()[0])
    theirs = [sys.executable, __file__, "--one"]
    runs = {}
    for sigma in ("1", "4"):
        for what in ("tensor", "orientation"):
            for threads in ("1", "2"):
                runs[sigma, what, threads] = [[str(args.ours), what, sigma, threads, str(path)], [*theirs, what, sigma, threads, str(path)]]
        runs[sigma, "box", "2"] = [[str(args.ours), "orientation", sigma, "2", str(path)], [*theirs, "box", sigma, "2", str(path)]]
    runs["1", "answer", "1"] = [[str(args.ours), "answer", "1", "1", str(path)]]
    found = {key: [[] for _ in commands] for key, commands in runs.items()}
    for _ in range(args.rounds):
        for key, commands in runs.items():
            for results, command in zip(found[key], commands):
                out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
                results.append(json.loads(out.splitlines()[-1]))
    print(f"12 megapixels, {args.rounds} rounds, load {os.getloadavg()[0]:.1f}; median ns per pixel")
    print(f"{'':34} undertile   OpenCV   ratio")
    for (sigma, what, threads), results in found.items():
        ns = [statistics.median(r["ns"] for r in each) for each in results]
        text = f"sigma {sigma}, {what}, {threads} thread{'s' if threads > '1' else ''}"
        print(f"{text:34} {ns[0]:9.2f}" + (f" {ns[1]:8.2f} {ns[1] / ns[0]:7.2f}" if len(ns) > 1 else ""))
        if what == "tensor":
            a, b = (each[0]["sum"] for each in results)
            if abs(a - b) > 1e-4 * abs(a):
                sys.exit(f"sums differ: {a} and {b}")


if __name__ == "__main__":
    main()
