// The recording as it lies in the page: changes are unpacked once, then looked up by time.
const run = JSON.parse(document.getElementById('run').textContent);

function unpacked(trace, unit) {
  let at = 0;
  return { t: Float64Array.from(trace.t, passed => (at += passed) * unit), v: trace.v };
}

for (const lane of run.lanes) {
  const unit = lane.ms ? 1 : run.scan_ms;
  lane.lines = (lane.lines || [lane]).map(line => ({ told: line.told, whole: lane.ms, each: line.each || 1, ...unpacked(line, unit) }));
  lane.title = [lane.label, lane.tag, lane.told].filter(Boolean).join(' · ');
}
for (const verdict of run.verdicts) if (verdict.trace) verdict.trace = unpacked(verdict.trace, run.scan_ms);
for (const mark of run.marks) { // a moment at which something was done needs no label of its own
  mark.dull = mark.kind === 'moment' && run.marks.some(other => other.at === mark.at && other.kind !== 'moment');
}
run.from_ms = 0;
run.state = run.lanes.find(lane => lane.kind === 'states').lines[0];
run.coarse_ms = run.scan_ms * Math.max(...run.lanes.flatMap(lane => lane.lines.map(line => line.each)));
run.step = run.lanes.find(lane => lane.label === 'step');
run.failed = run.verdicts.filter(verdict => !verdict.good).sort((a, b) => a.at - b.at);

// The place of the last change at or before a time; -1 before the first.
function placeAt(line, ms) {
  let low = 0, high = line.t.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (line.t[middle] <= ms) low = middle + 1; else high = middle;
  }
  return low - 1;
}

function valueAt(line, ms) {
  const place = placeAt(line, ms);
  return place < 0 ? null : line.v[place];
}

const unpowered = ms => run.gaps.some(([first, last]) => ms > first && ms < last);

// A value of a lane as a person reads it.
function worded(lane, value) {
  if (value === null) return '–';
  if (lane.kind === 'states') return run.states[value];
  if (lane.kind === 'words') return lane.words[value] || '–';
  if (lane.kind === 'analog') return (value / lane.per_unit).toFixed(lane.decimals);
  if (lane.kind === 'bar') return value ? 'acts' : 'no';
  return value ? 'on' : 'off';
}

// Milliseconds as 1:02:03.45; hours and minutes only where there are any.
function clock(ms, digits = 2) {
  const s = ms / 1000, h = Math.floor(s / 3600), m = Math.floor(s / 60) % 60;
  const seconds = (s % 60).toFixed(digits);
  if (s < 60) return `${seconds} s`;
  const two = part => String(part).padStart(2, '0');
  return `${h ? `${h}:${two(m)}` : m}:${seconds.padStart(digits ? digits + 3 : 2, '0')}`;
}

function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith('on')) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value);
  }
  made.append(...children.filter(child => child !== null && child !== undefined));
  return made;
}
