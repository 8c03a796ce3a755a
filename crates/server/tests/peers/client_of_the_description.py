"""Every address of the running server against /openapi.json, by a client that makes requests from the description, sound and
unsound: no server error, no answer the description does not have, none of another shape than it says.

What the description cannot say (a polygon must not cross itself) is refused with 422, so a sound body need not be accepted.
Lines of events are tested in crates/server/tests/http; this client has no way to make them.

usage: client_of_the_description.py UNDERTILE [EXAMPLES]
"""
# needs: schemathesis==4.32.5

import json
import pathlib
import subprocess
import sys
import tempfile
import urllib.request

ROOT = pathlib.Path(__file__).resolve().parents[4]
# A schema-valid body may still be wrong in ways no schema says.
LEFT_OUT = "positive_data_acceptance"


def begin(address):
    """The demo as a job, so that what is read is there."""
    files = {path.name: path.read_text() for path in (ROOT / "demo/heron-row-12").iterdir() if path.suffix in (".json", ".csv")}
    body = json.dumps({"author": "a client", "files": files}).encode()
    request = urllib.request.Request(address + "/api/jobs", body, {"Content-Type": "application/json"})
    job = json.load(urllib.request.urlopen(request))["job"]
    logs = json.load(urllib.request.urlopen(f"{address}/api/jobs/{job}/logs"))["logs"]
    return job, logs[0]["log"]


def main(undertile, examples="50"):
    with tempfile.TemporaryDirectory() as folder:
        serve = [undertile, "serve", "--listen", "127.0.0.1:0", "--data", folder + "/data"]
        server = subprocess.Popen(serve, stdout=subprocess.PIPE, text=True)
        try:
            address = "http://" + server.stdout.readline().split("http://")[1].split("/")[0]
            job, log = begin(address)
            config = pathlib.Path(folder, "schemathesis.toml")
            config.write_text(f'[parameters]\n"path.job" = "{job}"\n"path.log" = "{log}"\n"path.file" = "room.json"\n')
            client = [sys.executable, "-c", "from schemathesis.cli import schemathesis; schemathesis()", "--config-file", str(config)]
            client += ["run", address + "/openapi.json", "--exclude-checks", LEFT_OUT, "--max-examples", examples, "--no-color"]
            client += ["--exclude-path-regex", "/events$", "--request-timeout", "60"]
            failed = subprocess.run(client, cwd=folder).returncode
            if server.poll() is not None:
                failed = "the server ended"
        finally:
            server.terminate()
            server.wait()
    sys.exit(failed)


main(*sys.argv[1:])
