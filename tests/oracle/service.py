"""A running service with a data directory of its own, asked over HTTP as anyone asks it."""

import os
import socket
import subprocess
import time
import urllib.request


class Service:
    def __init__(self, data_dir):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.address = "127.0.0.1:%d" % probe.getsockname()[1]
        command = [os.environ["SLOWPOINT"], "serve", "--listen", self.address, "--data-dir", data_dir]
        self.process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        latest = time.monotonic() + 60
        while self.process.poll() is None and time.monotonic() < latest:
            try:
                self.get("/readyz")
                return
            except OSError:
                time.sleep(0.05)
        self.process.kill()
        raise RuntimeError(f"the service did not begin, or ended: {self.process.wait()}")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait(20)

    def get(self, path, body=None):
        with self.open(path, body) as reply:
            return reply.read()

    def open(self, path, body=None):
        request = urllib.request.Request(f"http://{self.address}{path}", body, {"content-type": "application/json"})
        return urllib.request.urlopen(request, timeout=120)
