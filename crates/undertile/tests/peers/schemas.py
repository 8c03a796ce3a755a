# needs: jsonschema==4.26.0
"""The schemas the program prints, checked by a general JSON Schema library: each one against the meta-schema of 2020-12,
each example's input and the program's answer to it against the schema they claim.

Usage: schemas.py UNDERTILE
"""

import json
import pathlib
import subprocess
import sys

from jsonschema import Draft202012Validator

program = sys.argv[1]
here = pathlib.Path(__file__).parent
demo = here / "../../../../demo/heron-row-12"


def run(*args, given=b""):
    return json.loads(subprocess.run([program, *args], input=given, check=True, capture_output=True).stdout)


def schema(name):
    printed = run("schema", name)
    for part in [printed["input"], printed["output"]] if "input" in printed else [printed]:
        Draft202012Validator.check_schema(part)
    return printed


mistakes = 0


def check(what, shape, value):
    global mistakes
    for error in Draft202012Validator(shape).iter_errors(value):
        mistakes += 1
        print(f"{what}: {error.json_path}: {error.message[:300]}")


inputs = sorted((here / "../examples").glob("*.json"))
for path in inputs:
    shape, given = schema(path.stem), path.read_bytes()
    check(f"{path.stem} input", shape["input"], json.loads(given))
    check(f"{path.stem} output", shape["output"], run("compute", path.stem, given=given))
files = ["room", "job", "data-sheets", "plan", "evidence", "weights", "pack"]
for name in files:
    shape, path = schema(name), demo / f"{name}.json"
    if path.exists():
        check(f"demo {path.name}", shape, json.loads(path.read_bytes()))
print(f"schemas: {len(inputs)} computations and {len(files)} kinds of file, {mistakes} mistakes")
sys.exit(1 if mistakes or not inputs else 0)
