"""Starts the daemon with two endpoints, one of which is down, lets events in and has the reference parser read
/metrics in both formats. The parser is strict about OpenMetrics 1.0.0: types, units, suffixes, escapes, order,
the end mark. That it is, is shown first on texts that break one rule each."""
import http.client
import pathlib
import shutil
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families as read_open
from prometheus_client.parser import text_string_to_metric_families as read_older

ROOT = pathlib.Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "deploy/practice-ward"), str(ROOT / "tests/faults")]
import device as d  # noqa: E402
import metrics  # noqa: E402
import stage  # noqa: E402

# Each breaks one rule of OpenMetrics 1.0.0 (specification/OpenMetrics.md); the first is right.
GOOD = ("# TYPE a counter\n# HELP a Some.\na_total{b=\"c\"} 1\n"
        "# TYPE d_seconds gauge\n# UNIT d_seconds seconds\nd_seconds 0.5\n# EOF\n")
BAD = {
    "no end mark": GOOD.replace("# EOF\n", ""),
    "a counter without _total": GOOD.replace("a_total", "a"),
    "a unit that the name does not end with": GOOD.replace("UNIT d_seconds seconds", "UNIT d_seconds bytes"),
    "families interleaved": GOOD.replace("# EOF\n", "a_total{b=\"e\"} 1\n# EOF\n"),
    "a family described twice": GOOD.replace("# EOF\n", "# TYPE a counter\n# EOF\n"),
    "a negative counter": GOOD.replace("} 1", "} -1"),
    "carriage returns": GOOD.replace("\n", "\r\n"),
    "text after the end mark": GOOD + "x 1\n",
}
passed = failed = 0


def check(words, holds):
    global passed, failed
    passed, failed = passed + bool(holds), failed + (not holds)
    print(f"{'ok  ' if holds else 'FAIL'} {words}")


def is_legal(text):
    try:
        return list(read_open(text))
    except ValueError as why:
        print(f"     {why}")
        return []


def get(port, path, accept=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("GET", path, headers={"Accept": accept} if accept else {})
    answer = connection.getresponse()
    return answer.status, answer.getheader("Content-Type"), answer.read().decode()


def samples(families):
    return {(s.name, *sorted(s.labels.items())): s.value for family in families for s in family.samples}


def judge(port, admin):
    status, kind, text = get(port, "/metrics")
    check("it is answered as OpenMetrics 1.0.0",
          status == 200 and kind == "application/openmetrics-text; version=1.0.0; charset=utf-8")
    families = is_legal(text)
    check("the reference parser reads it", families)
    check("it has no carriage return", "\r" not in text)
    odd = [family.name for family in families if not family.documentation or not family.samples or
           family.type not in ("gauge", "counter", "info") or
           family.unit != next((u for u in ("seconds", "bytes") if family.name.endswith(u)), "")]
    check(f"each of {len(families)} families has its type, unit, words and samples {odd or ''}", not odd)
    ours = metrics.read(text)
    lines = sum(not line.startswith("#") for line in text.splitlines())
    check(f"each of {lines} samples is there once", len(ours) == lines)
    check("our own reader in tests/faults reads the same", ours == samples(families))
    check("the metrics are those of dwell status", not list(metrics.against_status(ours, admin.status())))
    for accept in ("text/plain;version=0.0.4", "text/plain;q=0.9,application/openmetrics-text;q=0.5"):
        status, kind, older = get(port, "/metrics", accept)
        check(f"the older format for {accept}", kind == "text/plain; version=0.0.4; charset=utf-8")
        same_names = {key[0] for key in samples(read_older(older))} == {key[0] for key in ours}
        check("the reference parser reads it, and it tells of the same", status == 200 and same_names)


def main():
    check("the parser takes a right text", is_legal(GOOD))
    for words, text in BAD.items():
        check(f"the parser refuses {words}", not is_legal(text))
    work = ROOT / "build/openmetrics-run"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    port, endpoint_port, operate_port, nobody = (stage.free_port() for _ in range(4))
    config = stage.write_config(work, "https://metrics.example/lines", port, endpoint_port)
    config.write_text(config.read_text() + f'[operate]\nlisten = "127.0.0.1:{operate_port}"\n'
                      f'[endpoints.away]\nurl = "http://127.0.0.1:{nobody}/fhir"\n')
    endpoint = stage.Program("practice_endpoint", [ROOT / "build/tests/practice_endpoint", "--port",
                                                   str(endpoint_port)], work / "endpoint.log")
    daemon = stage.Program("dwelld", [ROOT / "build/daemon/dwelld", "--config", config], work / "dwelld.log")
    try:
        endpoint.start()
        stage.wait_for("the endpoint", lambda: endpoint.require() and stage.Http(endpoint_port).up())
        daemon.start()
        stage.wait_for("the daemon", lambda: daemon.require() and stage.Http(operate_port).up())
        device = d.Device(0, port, lines=3)
        # Visible ASCII is legal in the name of a source: those marks that a label must escape, too.
        odd = {**device.event(20), "source": 'odd"\\source'}
        check("events are taken", device.give(odd) == 201 and (device.run() or len(device.acknowledged) == 16))
        admin = stage.Admin(work / "admin.socket")
        stage.wait_for("deliveries", lambda: admin.status()["endpoints"][0]["deliveries"]["completed"] == 16 and
                       admin.status()["endpoints"][1]["deliveries"]["in-progress"] == 0)
        judge(operate_port, admin)
        text = get(operate_port, "/metrics")[2]
        check("the endpoint that is down is paused", 'dwelld_endpoint_paused{endpoint="away"} 1\n' in text)
        check("and the daemon is ready all the same", get(operate_port, "/readyz")[0] == 200)
        check("the odd source is there", any(dict(key[1:]).get("source") == 'odd"\\source'
                                             for key in samples(is_legal(text))))
    finally:
        daemon.stop()
        endpoint.stop()
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
