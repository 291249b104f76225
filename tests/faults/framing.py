"""Framings that two readers could read differently: one refusal, and the connection is closed."""
import json
import re

from intake import ask, still_takes, status_of
from rows import row

HEAD = "POST /events HTTP/1.1\r\nHost: ward\r\nContent-Type: application/json\r\n"


def smuggled(event):
    """A request within a request, which must never be taken for one."""
    body = json.dumps(event)
    return f"POST /events HTTP/1.1\r\nHost: ward\r\nContent-Type: application/json\r\n" \
           f"Content-Length: {len(body)}\r\n\r\n{body}"


def heads():
    """(what, head with its blank line); the body that follows is a whole request. RFC 9112 sections 5, 6 and 11.2;
    CWE-444; public reports: boostorg/beast PR 3098, unbit/uwsgi 2775, litespeedtech/openlitespeed 392."""
    chunked = "Transfer-Encoding: chunked\r\n"
    lengths = ("+5", "-5", "0x5", "5 5", "5, 5", "5,5", "", " ", "5.0", "5e0", "\u0665")
    codings = ("gzip", "identity", "xchunked", "chunked, chunked", "gzip, chunked", "chunked, identity",
               "\"chunked\"", "chunked;q=1", "", "chunke")
    yield "length and chunked", HEAD + "Content-Length: 0\r\n" + chunked + "\r\n0\r\n\r\n"
    yield "chunked and length", HEAD + chunked + "Content-Length: 0\r\n\r\n0\r\n\r\n"
    yield "two lengths", HEAD + "Content-Length: 0\r\nContent-Length: 5\r\n\r\n"
    yield "the same length twice", HEAD + "Content-Length: 0\r\nContent-Length: 0\r\n\r\n"
    yield "two codings", HEAD + chunked + chunked + "\r\n0\r\n\r\n"
    yield "chunked in HTTP/1.0", HEAD.replace("1.1", "1.0") + chunked + "\r\n0\r\n\r\n"
    yield "no length", HEAD + "\r\n"
    yield "no host", HEAD.replace("Host: ward\r\n", "") + "Content-Length: 0\r\n\r\n"
    yield "two hosts", HEAD + "Host: other\r\nContent-Length: 0\r\n\r\n"
    yield "a folded line", HEAD + "X: a\r\n Content-Length: 5\r\nContent-Length: 0\r\n\r\n"
    yield "a folded line after a tab", HEAD + "X: a\r\n\tb\r\nContent-Length: 0\r\n\r\n"
    yield "a blank before the colon", HEAD + "Content-Length : 0\r\n\r\n"
    yield "a blank in the name", HEAD + "Content Length: 0\r\nContent-Length: 0\r\n\r\n"
    yield "no colon", HEAD + "Content-Length\r\nContent-Length: 0\r\n\r\n"
    yield "a name of nothing", HEAD + ": 0\r\nContent-Length: 0\r\n\r\n"
    yield "a bare line feed", HEAD + "X: a\nContent-Length: 0\r\n\r\n"
    yield "a bare carriage return", HEAD + "X: a\rContent-Length: 5\r\nContent-Length: 0\r\n\r\n"
    yield "a NUL in a value", HEAD + "X: a\0b\r\nContent-Length: 0\r\n\r\n"
    yield "a NUL in a name", HEAD + "X\0: a\r\nContent-Length: 0\r\n\r\n"
    yield "a control character", HEAD + "X: a\x08b\r\nContent-Length: 0\r\n\r\n"
    yield "a blank before the method", " " + HEAD + "Content-Length: 0\r\n\r\n"
    yield "two blanks in the request line", HEAD.replace("POST ", "POST  ") + "Content-Length: 0\r\n\r\n"
    yield "HTTP/2.0", HEAD.replace("1.1", "2.0") + "Content-Length: 0\r\n\r\n"
    yield "http/1.1", HEAD.replace("HTTP/", "http/") + "Content-Length: 0\r\n\r\n"
    yield "no version", "POST /events\r\nHost: ward\r\nContent-Length: 0\r\n\r\n"
    yield "an absolute target", HEAD.replace("/events", "http://other/events") + "Content-Length: 0\r\n\r\n"
    yield "a chunk size that is no number", HEAD + chunked + "\r\nzz\r\n\r\n"
    yield "a chunk size with a sign", HEAD + chunked + "\r\n+0\r\n\r\n"
    yield "a chunk size with 0x", HEAD + chunked + "\r\n0x0\r\n\r\n"
    yield "a chunk size beyond all numbers", HEAD + chunked + "\r\n" + "f" * 17 + "\r\n\r\n"
    yield "a chunk that is longer than it says", HEAD + chunked + "\r\n1\r\nab\r\n0\r\n\r\n"
    yield "a chunk size after a bare line feed", HEAD + chunked + "\r\n0\n\r\n"
    for value in lengths:
        yield f"length {value!r}", HEAD + f"Content-Length: {value}\r\n\r\n"
    for value in codings:
        yield f"coding {value!r}", HEAD + f"Transfer-Encoding: {value}\r\n\r\n0\r\n\r\n"


@row("27", "request smuggling: framings that are read differently elsewhere",
     "the table of framing.py, each followed by a request", 8)
def smuggling(scene):
    scene.open()
    device, never = scene.poster(), scene.poster()  # what `never` has is not to be taken
    count = 0
    for count, (what, head) in enumerate(heads(), 1):
        answer, closed = ask(scene, (head + smuggled(never.event(0))).encode("utf-8"))
        scene.check(status_of(answer) in range(400, 600), f"{what}: answered {answer[:60]!r}")
        times = len(re.findall(rb"HTTP/1\.1 \d{3} ", answer))
        scene.check(times == 1, f"{what}: answered {times} times")
        scene.check(closed, f"{what}: the connection stays open")
    status, _ = scene.intake().ask("GET", f"/events/{never.event(0)['id']}?source=fault-ward")
    scene.check(status == 404, f"the smuggled event is there: {status}")
    still_takes(scene, device, 0)
    scene.note(f"{count} framings")
