"""Puts a wheel together from a library that was built: python wheel.py LIBRARY VERSION OUT

A wheel is a zip with a list in it (PEP 427), so this needs nothing but Python.
"""

import base64
import hashlib
import pathlib
import sys
import sysconfig
import zipfile

LIBRARY, VERSION, OUT = pathlib.Path(sys.argv[1]), sys.argv[2], pathlib.Path(sys.argv[3])
HERE = pathlib.Path(__file__).parent
BINDINGS = HERE.parent / "bindings" / "python"
TAG = f"py3-none-{sysconfig.get_platform().replace('-', '_').replace('.', '_')}"
INFO = f"backstraight-{VERSION}.dist-info"

METADATA = f"""Metadata-Version: 2.1
Name: backstraight
Version: {VERSION}
Summary: The phone side of Backstraight: works without a signal, exchanges with a server
License: MIT OR Apache-2.0
Requires-Python: >=3.9
"""
WHEEL = f"Wheel-Version: 1.0\nGenerator: backstraight\nRoot-Is-Purelib: false\nTag: {TAG}\n"

files = {
    "backstraight/__init__.py": (HERE / "backstraight" / "__init__.py").read_bytes(),
    "backstraight/doors.py": (BINDINGS / "backstraight.py").read_bytes(),
    "backstraight/mark.py": (BINDINGS / "backstraight_mark.py").read_bytes(),
    f"backstraight/{LIBRARY.name}": LIBRARY.read_bytes(),
    f"{INFO}/METADATA": METADATA.encode(),
    f"{INFO}/WHEEL": WHEEL.encode(),
}
record = []
for name, data in files.items():
    digest = base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
    record.append(f"{name},sha256={digest},{len(data)}\n")
files[f"{INFO}/RECORD"] = ("".join(record) + f"{INFO}/RECORD,,\n").encode()

OUT.mkdir(parents=True, exist_ok=True)
with zipfile.ZipFile(OUT / f"backstraight-{VERSION}-{TAG}.whl", "w", zipfile.ZIP_DEFLATED) as wheel:
    for name, data in files.items():
        wheel.writestr(name, data)
print(OUT / f"backstraight-{VERSION}-{TAG}.whl")
