-- Ward events for wrk (an open source load generator): every request is a new event of an invented ward.
-- Each thread plays lines in blocks: first the insertions of a whole block, then the first check of each,
-- and so on, so that two events of one line are never in flight together.
local block_lines = 400
local steps = {"insertion", "site-check", "flush", "site-check", "site-check", "removal"}
local threads = 0

function setup(thread)
  thread:set("thread_number", threads)
  threads = threads + 1
end

-- Patient numbers of the test range 999 000 0000 to 999 999 9999, with the check digit of the NHS Data
-- Dictionary (weights 10 to 2, modulo 11); numbers whose check digit would be 10 do not exist.
local function patient_number(n)
  while true do
    local nine = string.format("999%06d", n % 1000000)
    local sum = 0
    for i = 1, 9 do sum = sum + tonumber(nine:sub(i, i)) * (11 - i) end
    local check = (11 - sum % 11) % 11
    if check ~= 10 then return nine .. check end
    n = n + 1
  end
end

local function stamp(seconds)
  return os.date("!%Y-%m-%dT%H:%M:%SZ", seconds)
end

function init(args)
  run = args[1] or "run"
  batch = tonumber(args[2] or "1")
  start_s = os.time() - 7200
  event_number = 0
  wrk.method = "POST"
  wrk.headers["Content-Type"] = batch > 1 and "application/x-ndjson" or "application/json"
end

local bodies = {
  ["insertion"] = [["outcome":"placed","line":{"kind":"peripheral-cannula","gauge":20,"length_mm":32,]]
    .. [["lot":"L4471","expiry":"2028-03"},"site":{"place":"forearm","side":"left","vein":"cephalic"},]]
    .. [["setting":"planned","preparation":{"identity_checked":"yes","consent":"yes","hands_decontaminated":"yes",]]
    .. [["gloves":"yes","apron":"yes","equipment_in_date":"yes","skin_dried_s":30,"site_touched_again":"no",]]
    .. [["key_parts_untouched":"yes"},"flush":{"fluid":"sodium-chloride-0-9","mL":5.0,"lot":"F1203",]]
    .. [["swelling":"absent"},"dressing":{"type":"transparent","condition":"intact"}]],
  ["site-check"] = [["signs":{"pain":"absent","erythema":"absent","swelling":"absent","induration":"absent",]]
    .. [["palpable_cord":"absent","pyrexia":"absent"},"grade":{"scale":"visual-infusion-phlebitis",]]
    .. [["version":"1998","value":0},"dressing":{"condition":"intact"},"patency":"patent","still_needed":"yes"]],
  ["flush"] = [["flush":{"fluid":"sodium-chloride-0-9","mL":5.0,"swelling":"absent"},"patency":"patent"]],
  ["removal"] = [["reason":"no-longer-required","tip_complete":"yes","bleeding_stopped":"yes"]],
}

local function next_event()
  local n = event_number
  event_number = n + 1
  local per_block = block_lines * #steps
  local block, within = math.floor(n / per_block), n % per_block
  local step, line = math.floor(within / block_lines) + 1, block * block_lines + within % block_lines
  local kind = steps[step]
  local at = stamp(start_s + step * 600)
  return string.format(
    [[{"kind":"%s","id":"%s-%d-%d","source":"bench-ward","happened_at":"%s","recorded_at":"%s",]]
    .. [["patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"%s"},]]
    .. [["place":{"ward":"W%d","bay":"2","bed":"%d"},]]
    .. [["staff":[{"system":"https://staff.example/id","value":"S%d","role":"registered-nurse"}],]]
    .. [["line_id":"%s-%d-L%d",%s}]],
    kind, run, thread_number, n, at, at, patient_number(thread_number * 300000 + line), line % 12, line % 6,
    line % 40, run, thread_number, line, bodies[kind])
end

function request()
  if batch == 1 then return wrk.format(nil, nil, nil, next_event()) end
  local lines = {}
  for i = 1, batch do lines[i] = next_event() end
  return wrk.format(nil, nil, nil, table.concat(lines, "\n") .. "\n")
end

function done(summary, latency, requests)
  io.write(string.format("RESULT requests=%d duration_us=%d non2xx=%d socket_errors=%d p50_us=%d p99_us=%d max_us=%d\n",
    summary.requests, summary.duration, summary.errors.status,
    summary.errors.connect + summary.errors.read + summary.errors.write + summary.errors.timeout,
    latency:percentile(50), latency:percentile(99), latency.max))
end
