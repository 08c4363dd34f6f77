"""The phone side of Backstraight for Python programs: a folder that works without a signal, and an exchange.

Everything of the doors is here by its name (docs/ffi.md), with what a program on a desk needs beside it.
"""

import datetime
import json
import os
import pathlib

from .doors import *  # noqa: F403
from .doors import CheckInAnswers, DoorError, ExchangeLimits, Install, KeyStore, KeyStoreError, Now, OpenWith, StopFlag
from .doors import built_in_courier, read_invitation
from .mark import INTERFACE_MARK


def now():
    """The time and place of this machine."""
    moment = datetime.datetime.now().astimezone()
    ahead = moment.utcoffset() or datetime.timedelta()
    return Now(utc_ms=int(moment.timestamp() * 1000), ahead_min=int(ahead.total_seconds() // 60))


class FileKeys(KeyStore):
    """Secrets in a file that its owner alone may read. For a desk or a server without a key store; keep the
    file out of backups that are put back elsewhere, and apart from the folder."""

    def __init__(self, file):
        self.file = pathlib.Path(file)

    def _all(self):
        try:
            return json.loads(self.file.read_text())
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as why:
            raise KeyStoreError.Failed() from why

    def _write(self, secrets):
        draft = self.file.with_suffix(".new")
        try:
            with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as out:
                json.dump(secrets, out)
                out.flush()
                os.fsync(out.fileno())
            os.replace(draft, self.file)
            if os.name == "posix":
                folder = os.open(self.file.parent, os.O_RDONLY)
                try:
                    os.fsync(folder)
                finally:
                    os.close(folder)
        except OSError as why:
            raise KeyStoreError.Failed() from why

    def keep(self, name, secret):
        self._write({**self._all(), name: secret.hex()})

    def look_up(self, name):
        secret = self._all().get(name)
        return bytes.fromhex(secret) if secret is not None else None

    def forget(self, name):
        self._write({n: s for n, s in self._all().items() if n != name})


def open_folder(folder, keys):
    """Opens a folder with its key store."""
    return Install.open(OpenWith(folder=str(folder), interface=INTERFACE_MARK), keys, now())


def exchange(install):
    """Sends what waits and fetches what is new, by the courier that is built in."""
    return install.exchange(built_in_courier(), ExchangeLimits(), StopFlag(), None, now())
