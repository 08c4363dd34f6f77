"""Bodies of the exchange, and of a copy that somebody leaves with, for requests that are made up: bytes that are
seldom CBOR or a zip, which is the point. Well-formed ones are the business of the other tests."""

import json

import schemathesis


@schemathesis.serializer("application/cbor", "application/zip")
def bytes_of(_context, value):
    return value if isinstance(value, bytes) else json.dumps(value, default=str).encode()
