"""Bodies of the exchange for requests that are made up: bytes that are seldom CBOR, which is the point.
Well-formed ones are the business of the other tests."""

import json

import schemathesis


@schemathesis.serializer("application/cbor")
def bytes_of(_context, value):
    return value if isinstance(value, bytes) else json.dumps(value, default=str).encode()
