"""Requests made up from the OpenAPI document, against a server of the given program on a folder of its
own with an invented club: no answer may be a mistake of the server, be none that the document names, or
let in somebody without a token. Repeats itself: the seed is fixed."""

import json
import os
import pathlib
import subprocess
import sys
import tempfile
import urllib.request

SEED = "20261125"
EXAMPLES = "30"
CHECKS = (
    "not_a_server_error,status_code_conformance,content_type_conformance,"
    "response_schema_conformance,response_headers_conformance,ignored_auth,unsupported_method"
)


def said(program, data, *args):
    out = subprocess.run(
        [program, *args, "--data", data, "--json"], check=True, stdout=subprocess.PIPE, timeout=60
    )
    return json.loads(out.stdout)


def enrolled(program, url, code):
    out = subprocess.run(
        [program, "enrol", code, "--server", url, "--device", "a test", "--json"],
        check=True,
        stdout=subprocess.PIPE,
        timeout=60,
    )
    return json.loads(out.stdout)


def main():
    program = sys.argv[1]
    tool = pathlib.Path(sys.executable).with_name("schemathesis")
    env = {name: value for name, value in os.environ.items() if "proxy" not in name.lower()}
    env |= {"SCHEMATHESIS_HOOKS": "cbor", "PYTHONPATH": str(pathlib.Path(__file__).resolve().parent)}
    with tempfile.TemporaryDirectory() as folder:
        data = f"{folder}/data"
        club = said(program, data, "club", "add", "Cinder Lane")["id"]
        people = {
            role: said(program, data, "person", "add", name, "--club", club, "--role", role)["id"]
            for role, name in (("athlete", "Mira Aalto"), ("coach", "Ruth Adeyemi"))
        }
        limits = pathlib.Path(folder, "limits.toml")
        limits.write_text("install_minute = 1_000_000\naddress_minute = 1_000_000\nwrong_codes = 100_000\n")
        server = subprocess.Popen(
            [program, "serve", "--data", data, "--listen", "127.0.0.1:0", "--limits", str(limits)],
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            url = None
            for line in server.stderr:
                address = json.loads(line).get("address")
                if address:
                    url = f"http://{address}"
                    break
            if url is None:
                sys.exit("the server did not start")
            # Its log must not fill the pipe.
            drain = subprocess.Popen(["cat"], stdin=server.stderr, stdout=subprocess.DEVNULL)
            failed = False
            for role in ("coach", "athlete"):
                code = said(program, data, "invite", people[role])["code"]
                token = enrolled(program, url, code)["access_token"]
                # The coach asks about an athlete that is there, the athlete about whatever is made up.
                known = f'[parameters]\n"path.id" = "{people["athlete"]}"\n' if role == "coach" else ""
                pathlib.Path(folder, "schemathesis.toml").write_text(known)
                print(f"as {role}", flush=True)
                done = subprocess.run(
                    [
                        tool,
                        "run",
                        f"{url}/v1/openapi.json",
                        "--header",
                        f"Authorization: Bearer {token}",
                        "--checks",
                        CHECKS,
                        "--phases",
                        "examples,coverage,fuzzing",
                        "--max-examples",
                        EXAMPLES,
                        "--seed",
                        SEED,
                        "--generation-database",
                        "none",
                        "--request-timeout",
                        "10",
                        # With more the tool's own caches are not safe from each other.
                        "--workers",
                        "1",
                        # A stream of events has no end.
                        "--exclude-path",
                        "/v1/nudge",
                        "--no-color",
                    ],
                    cwd=folder,
                    env=env,
                    timeout=300,
                    check=False,
                )
                failed |= done.returncode != 0
            with urllib.request.urlopen(f"{url}/readyz", timeout=30) as ready:
                print("afterwards:", json.load(ready)["status"])
        finally:
            server.terminate()
            server.wait(30)
        drain.wait(30)
        if server.returncode != 0:
            sys.exit(f"the server ended with {server.returncode}")
        sys.exit(1 if failed else 0)


main()
