"""A token endpoint (SMART Backend Services) that checks the statements it gets with openssl(1)."""
import base64
import json
import pathlib
import subprocess
import tempfile
import threading
import time
import urllib.parse

import peer as p

LIFE_MAX_S = 300  # SMART App Launch 2.2.0, client-confidential-asymmetric: at most five minutes


def from_base64url(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


class Issuer:
    """Gives tokens of `lifetime_s`; `faults` says what was wrong with statements."""

    def __init__(self, scene, lifetime_s):
        self.lifetime_s, self.faults, self.given = lifetime_s, [], 0
        self.good_until, self.seen_ids = {}, set()
        self.asking = self.asking_max = 0
        self.lock = threading.Lock()
        self.key = scene.folder / "client.key"
        self.public = scene.folder / "client.pub"
        for words in (("genpkey", "-algorithm", "RSA", "-pkeyopt", "rsa_keygen_bits:2048", "-out", self.key),
                      ("pkey", "-in", self.key, "-pubout", "-out", self.public)):
            subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)
        self.key.chmod(0o600)
        self.peer = p.Peer(scene.free_port(), 0, self.serve).open()
        scene.peers.append(self.peer)
        self.url = f"http://127.0.0.1:{self.peer.port}/token"
        scene.set(endpoint_token_url=self.url, endpoint_client_id="dwelld", endpoint_key_file=self.key,
                  endpoint_key_id="k1", endpoint_scope="system/*.cruds")

    def serve(self, talk):
        with self.lock:
            self.asking += 1
            self.asking_max = max(self.asking_max, self.asking)
        time.sleep(0.05)  # so that two at the same time would be seen
        fault = self.fault_of(urllib.parse.parse_qs(talk.body.decode()))
        with self.lock:
            self.asking -= 1
        date = time.strftime("Date: %a, %d %b %Y %H:%M:%S GMT\r\n", time.gmtime())
        if fault:
            self.faults.append(fault)
            return talk.send(p.answer(400, "application/json", '{"error":"invalid_client"}', date))
        self.given += 1
        token = f"canary-token-{self.given}-{time.time_ns()}"
        self.good_until[token] = time.monotonic() + self.lifetime_s
        return talk.send(p.answer(200, "application/json", json.dumps(
            {"access_token": token, "token_type": "bearer", "expires_in": self.lifetime_s,
             "scope": "system/*.cruds"}), date))

    def fault_of(self, form):
        statement = form.get("client_assertion", [""])[0]
        head, claims, signature = statement.split(".")
        told = json.loads(from_base64url(claims))
        now = time.time()
        if json.loads(from_base64url(head)).get("alg") != "RS384" or not self.is_signed(head, claims, signature):
            return "not signed by the client's key"
        if told.get("iss") != "dwelld" or told.get("sub") != "dwelld" or told.get("aud") != self.url:
            return "about somebody else"
        if not now < told["exp"] <= now + LIFE_MAX_S or told.get("nbf", 0) > now or told.get("iat", 0) > now:
            return f"exp {told['exp'] - now:+.0f} s"
        if told["jti"] in self.seen_ids:
            return "seen before"
        self.seen_ids.add(told["jti"])
        return None

    def is_signed(self, head, claims, signature):
        with tempfile.TemporaryDirectory() as folder:
            file = pathlib.Path(folder, "signature")
            file.write_bytes(from_base64url(signature))
            ended = subprocess.run(["openssl", "dgst", "-sha384", "-verify", str(self.public), "-signature",
                                    str(file)], input=f"{head}.{claims}".encode(), capture_output=True)
        return ended.returncode == 0

    def is_good(self, talk):
        word, _, token = talk.fields().get("authorization", "").partition(" ")
        return word == "Bearer" and self.good_until.get(token, 0) > time.monotonic()

    def end_all(self):
        self.good_until.clear()
