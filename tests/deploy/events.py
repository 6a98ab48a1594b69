"""Does a proxy hand on each event when it is sent, or keep them back?

Stands in for the service: sends one event of a job's stream, waits to hear that the client behind the proxy has it, and
only then sends the next. What counts is the order, not the time: the first event arrived before the second was sent, or
it did not. How long it waits for that decides nothing when events are handed on. Fails when they are kept back.

    events.py PATIENCE_S UPSTREAM_PORT PROXY_PORT NAME CERTIFICATE
"""

import http.client
import socket
import ssl
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

PATH = "/v1/jobs/0123456789abcdef/events"
EVENTS = [b"event: progress\ndata: {\"progress\":1}\n\n", b"event: progress\ndata: {\"progress\":2}\n\n"]


class Stream(BaseHTTPRequestHandler):
    """Two events; the second when the first has arrived, or when patience is at an end."""

    protocol_version = "HTTP/1.1"
    arrived = threading.Event()
    patience_s = 0.0
    first_arrived_before_second = None

    def do_GET(self):
        self.send_response(200 if self.path == PATH else 404)
        self.send_header("content-type", "text/event-stream")
        self.send_header("transfer-encoding", "chunked")
        self.end_headers()
        self.chunk(EVENTS[0])
        Stream.first_arrived_before_second = self.arrived.wait(self.patience_s)
        self.chunk(EVENTS[1])
        self.chunk(b"")

    def chunk(self, data):
        self.wfile.write(b"%x\r\n%s\r\n" % (len(data), data))
        self.wfile.flush()

    def log_message(self, *_):
        pass


def read_through(proxy_port, name, certificate):
    """The stream as a client of the proxy reads it."""
    context = ssl.create_default_context(cafile=certificate)
    raw = socket.create_connection(("127.0.0.1", proxy_port), timeout=60)
    client = http.client.HTTPConnection(name)
    client.sock = context.wrap_socket(raw, server_hostname=name)
    client.request("GET", PATH)
    answer = client.getresponse()
    kind = answer.getheader("content-type")
    if (answer.status, kind) != (200, "text/event-stream"):
        sys.exit(f"the proxy answered {answer.status} {kind}")
    received = b""
    while data := answer.read1(4096):
        received += data
        if received.startswith(EVENTS[0]):
            Stream.arrived.set()
    return received


def main(patience_s, upstream_port, proxy_port, name, certificate):
    Stream.patience_s = float(patience_s)
    server = ThreadingHTTPServer(("127.0.0.1", int(upstream_port)), Stream)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    received = read_through(int(proxy_port), name, certificate)
    server.shutdown()
    if received != b"".join(EVENTS):
        sys.exit(f"other events arrived: {received}")
    if not Stream.first_arrived_before_second:
        sys.exit("the first event was kept back until the second was sent")


if __name__ == "__main__":
    main(*sys.argv[1:])
