"""Asks a served page as a browser would."""

import http.client
import json
import ssl
from urllib.parse import urlsplit


class Browser:
    """Asks a served page as a browser would, origin and cookie included."""

    def __init__(self, server):
        parts = urlsplit(server.doors.url)
        self.secure, self.port = parts.scheme == "https", parts.port
        self.host = f"127.0.0.1:{self.port}"
        self.origin = f"{parts.scheme}://{self.host}"
        self.cookie = ""

    def ask(self, method, path, body=None, **headers):
        if self.secure:
            trust = ssl.create_default_context()
            trust.check_hostname, trust.verify_mode = False, ssl.CERT_NONE
            line = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=120, context=trust)
        else:
            line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        shown = {"Host": self.host, "Origin": self.origin, "Cookie": self.cookie}
        shown |= {key.replace("_", "-"): value for key, value in headers.items()}
        shown = {key: value for key, value in shown.items() if value}
        if isinstance(body, dict):
            body = json.dumps(body)
        try:
            line.request(method, path, body, shown)
            answer = line.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            line.close()

    def status(self, *args, **headers):
        return self.ask(*args, **headers)[0]

    def values(self, *args, **headers):
        return json.loads(self.ask(*args, **headers)[2])

    def pair(self, code):
        status, headers, _ = self.ask("POST", "/pair", {"code": code})
        self.cookie = headers.get("set-cookie", "").split(";")[0]
        return status
