"""JSON whose numbers keep their text, what differs between a resource sent and the one read back, and a FHIR client."""
import http.client
import json
import re
import time
import urllib.parse

ATTEMPT_MAX_S = 120  # a server that starts on a busy machine is slow to answer its first requests
ABSENT = "nothing"


class Number(str):
    """A JSON number by its characters: 2.50 is not 2.5."""


def read(text):
    return json.loads(text, parse_float=Number, parse_int=Number)


def write(value):
    """JSON text of what read() gave."""
    if isinstance(value, Number):
        return str(value)
    if isinstance(value, dict):
        return "{" + ",".join(f"{json.dumps(name)}:{write(part)}" for name, part in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(write(part) for part in value) + "]"
    return json.dumps(value)


def differences(sent, back, path=""):
    """(path, sent, back) of each place where the two differ; list items have no numbers in their path."""
    if isinstance(sent, dict) and isinstance(back, dict):
        for name in {**sent, **back}:
            yield from differences(sent.get(name, ABSENT), back.get(name, ABSENT), f"{path}.{name}")
    elif isinstance(sent, list) and isinstance(back, list) and len(sent) == len(back):
        for one, other in zip(sent, back):
            yield from differences(one, other, path)
    elif type(sent) is not type(back) or sent != back:
        yield path, sent, back


def name_of(resource):
    return f"{resource['resourceType']}/{resource['id']}"


def searched_for(value):
    """(type, system, value) of each conditional reference by identifier inside (R4 http.html#trules)."""
    if isinstance(value, list):
        return [one for part in value for one in searched_for(part)]
    if not isinstance(value, dict):
        return []
    kind, _, query = value.get("reference", "").partition("?identifier=") if "reference" in value else ("", "", "")
    return [(kind, *urllib.parse.unquote(query).split("|"))] * bool(query) + searched_for(list(value.values()))


def resolved(value, references):
    """The same with what the server found in place of each conditional reference."""
    if isinstance(value, list):
        return [resolved(part, references) for part in value]
    if not isinstance(value, dict):
        return value
    found = searched_for({"reference": value["reference"]}) if "reference" in value else []
    literal = {"reference": references[found[0][0], found[0][2]]} if found else {}
    return {**{name: resolved(part, references) for name, part in value.items()}, **literal}


class Refused(Exception):
    """The server's answer was not the one that there should be; the text says which."""


class Client:
    """One kept connection to the server at `base`."""

    def __init__(self, base):
        self.base = urllib.parse.urlsplit(base)
        self.connection = http.client.HTTPConnection(self.base.hostname, self.base.port, timeout=ATTEMPT_MAX_S)

    def ask(self, method, path, body=None):
        """Status and parsed body of an answer; the path stands below the base. A connection that the server closed
        while it was idle is opened again, once."""
        headers = {"Content-Type": "application/fhir+json"} if body is not None else {}
        for last in (False, True):
            try:
                self.connection.request(method, self.base.path + path, body and body.encode(), headers)
                answer = self.connection.getresponse()
                text = answer.read().decode()
                return answer.status, read(text) if text.strip() else None
            except (OSError, http.client.HTTPException):
                self.connection.close()
                if last:
                    raise

    def get(self, path):
        status, body = self.ask("GET", path)
        if status != 200:
            raise Refused(f"GET {path}: {status} {write(body)[:400]}")
        return body

    def send(self, bundle_text):
        """The statuses of the entries of a transaction, as ints."""
        status, body = self.ask("POST", "", bundle_text)
        if status != 200:
            raise Refused(f"a transaction: {status} {write(body)[:400]}")
        return [int(entry["response"]["status"][:3]) for entry in body["entry"]]

    def found(self, query):
        """All "Type/id" that match a search, through all of its pages."""
        page = self.get("/" + query)
        names = []
        while True:
            names += [name_of(entry["resource"]) for entry in page.get("entry", ())]
            following = [link["url"] for link in page.get("link", ()) if link["relation"] == "next"]
            if not following:
                break
            page = self.get("?" + urllib.parse.urlsplit(following[0]).query)
        if len(names) != int(page.get("total", len(names))):
            raise Refused(f"{query}: {len(names)} entries, but a total of {page['total']}")
        return names


def until_up(base, limit_s):
    """Waits until the server at `base` answers a search, whatever it says."""
    until = time.monotonic() + limit_s
    while True:
        try:
            return Client(base).ask("GET", "/Patient?_count=1")
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.2)


def token(system, code):
    """A token of a search, escaped (R4 search.html#escaping) and percent-encoded."""
    escape = lambda text: urllib.parse.quote(re.sub(r"([\\$,|])", r"\\\1", text), safe="")
    return f"{escape(system)}%7C{escape(code)}"
