"""Reads the text of metrics, and compares it with what the operator's socket says."""
import re

SAMPLE = re.compile(r'([a-z_]+)(?:\{(.*)\})? (-?[0-9.]+)')
ESCAPE, ESCAPED = re.compile(r"\\(.)"), {"n": "\n", "\\": "\\", '"': '"'}
LABEL = re.compile(r'([a-z_]+)="((?:[^"\\]|\\.)*)"')


def read(text):
    """{(name, (label, value), ...): number}, labels in the order of their names."""
    if not text.endswith("# EOF\n"):
        raise ValueError(f"metrics without an end: {text[-80:]!r}")
    found = {}
    for line in text.splitlines():
        if line.startswith("#"):
            continue
        name, labels, number = SAMPLE.fullmatch(line).groups()
        pairs = [(label, ESCAPE.sub(lambda mark: ESCAPED[mark[1]], value))
                 for label, value in LABEL.findall(labels or "")]
        found[name, *sorted(pairs)] = float(number)
    return found


def against_status(metrics, status):
    """Where they differ, in words; `status` is the row of `dwell status --json`."""
    wanted = {("dwelld_store_events",): status["events"], ("dwelld_store_lines",): status["lines"],
              ("dwelld_store_file_bytes",): status["file"]["bytes"]}
    endpoints = status.get("endpoints", [{"endpoint": "main", "deliveries": status["deliveries"], **status}])
    for row in endpoints:
        name = ("endpoint", row["endpoint"])
        for state, count in row["deliveries"].items():
            wanted["dwelld_bundles", name, ("state", state)] = count
        if "attempts" in row:
            wanted["dwelld_deliveries_total", name, ("outcome", "completed")] = row["attempts"]["completed"]
            wanted["dwelld_deliveries_total", name, ("outcome", "on-hold")] = row["attempts"]["refused"]
            again = sum(metrics.get(("dwelld_deliveries_total", name, ("outcome", outcome)), 0)
                        for outcome in ("again", "endpoint-down", "target-unknown"))
            if again != row["attempts"]["again"]:
                yield f"{row['endpoint']}: {again} attempts again, {row['attempts']['again']} in the status"
    bundles = sum(number for key, number in metrics.items() if key[0] == "dwelld_bundles")
    if bundles != sum(status["deliveries"].values()):
        yield f"{bundles} bundles, {sum(status['deliveries'].values())} in the status"
    for key, number in wanted.items():
        if metrics.get(key) != number:
            yield f"{key}: {metrics.get(key)}, {number} in the status"
