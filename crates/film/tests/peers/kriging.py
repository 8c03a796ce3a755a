# needs: numpy==2.4.6 scipy==1.17.1 PyKrige==1.7.3; for the Meuse set also scikit-gstat==1.0.26, which wants an older numpy
"""film-map beside PyKrige: the same digits on seeded readings and on the Meuse lead data (Pebesma and Bivand 2005, R News
5; as it comes with scikit-gstat), and how long both take for 500 readings and 90,000 places.

Usage: kriging.py UNDERTILE
"""

import json
import subprocess
import sys
import time

import numpy as np
from pykrige.ok import OrdinaryKriging

program = sys.argv[1]
mistakes = 0


def ours(xy, z, at, model, nugget_is):
    asked = {
        "readings": [{"x_mm": float(x), "y_mm": float(y), "value": float(v)} for (x, y), v in zip(xy, z)],
        "at": [[float(x), float(y)] for x, y in at],
        "model": model,
        "nugget_is": nugget_is,
    }
    ran = subprocess.run([program, "compute", "film-map"], input=json.dumps(asked).encode(), capture_output=True)
    if ran.returncode:
        sys.exit(ran.stderr.decode())
    out = json.loads(ran.stdout)
    return np.array(out["value"]), np.array(out["variance"])


def theirs(xy, z, at, model, nugget_is):
    parameters = {"psill": model["sill"], "range": model["range_mm"], "nugget": model["nugget"]}
    exact = nugget_is == "field"
    kriging = OrdinaryKriging(xy[:, 0], xy[:, 1], z, variogram_model=model["kind"], variogram_parameters=parameters, exact_values=exact)
    value, variance = kriging.execute("points", at[:, 0], at[:, 1], backend="vectorized")
    return np.asarray(value), np.asarray(variance) - (0.0 if exact else model["nugget"])


def compare(name, xy, z, at, model):
    global mistakes
    for nugget_is in ["error", "field"]:
        (a, b), (c, d) = ours(xy, z, at, model, nugget_is), theirs(xy, z, at, model, nugget_is)
        off = max(np.abs(a - c).max(), np.abs(b - d).max())
        print(f"{name}, {model['kind']}, nugget is {nugget_is}: off by {off:.1e} at most")
        mistakes += off > 1e-8


random = np.random.default_rng(5)
xy = random.uniform(0, 5000, (500, 2))
z = 1 + 0.15 * np.sin(xy[:, 0] / 800) + random.normal(0, 0.05, 500)
at = random.uniform(0, 5000, (2000, 2))
for kind in ["exponential", "spherical"]:
    compare("500 seeded readings", xy, z, at, {"kind": kind, "sill": 0.04, "range_mm": 1000.0, "nugget": 0.0025})

try:
    import skgstat

    set_ = skgstat.data.meuse(variable="lead")["sample"]
    (coordinates, lead) = set_
    shift = np.array([180_000.0, 331_000.0])
    places = np.array([[179500, 330500], [180000, 331500], [180500, 332500], [181000, 333000], [178800, 330200.0]]) - shift
    compare("Meuse, ln lead", np.asarray(coordinates) - shift, np.log(np.asarray(lead).ravel()), places, {"kind": "spherical", "sill": 0.55, "range_mm": 900.0, "nugget": 0.05})
except ImportError as why:
    print(f"Meuse left out: {why}")

# Time of the whole program, reading and writing a million numbers as text included, beside PyKrige's kernel alone.
line = np.linspace(0, 5000, 300)
grid = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
model = {"kind": "exponential", "sill": 0.04, "range_mm": 1000.0, "nugget": 0.0025}
for name, run in [("undertile, whole program", ours), ("PyKrige, with its set-up", theirs)]:
    times = []
    for _ in range(3):
        start = time.perf_counter()
        run(xy, z, grid, model, "error")
        times.append(time.perf_counter() - start)
    print(f"{name}: {min(times) / len(grid) * 1e6:.1f} us a place (best of three)")
sys.exit(mistakes)
