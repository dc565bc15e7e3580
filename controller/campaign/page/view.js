// What is shown of the run, and the hands on it: wheel, drag, keys, buttons; the cursor and its values.
const page = name => document.getElementById(name);
const groups = [];
const cursor = { at: run.end_ms, held: false, pointer: null };
const LEAST_MS = 200;
let waiting = false;

function laneOfVerdict(verdict) {
  return { kind: 'verdict', label: `${verdict.good ? '✓' : '✗'} ${verdict.wanted}`, name: verdict.good ? '' : 'bad',
    title: `${verdict.good ? 'passed' : 'FAILED'}: ${verdict.wanted}; seen: ${verdict.seen}`, verdict };
}

function buildGroups() {
  const byName = new Map();
  const lanesOf = name => byName.get(name) || byName.set(name, []).get(name);
  for (const lane of run.lanes.filter(lane => lane.group === 'Sequence')) lanesOf('Sequence').push(lane);
  if (run.marks.length) lanesOf('What was done').push({ kind: 'marks', label: 'moments and acts', title: 'moments of the timeline, commands, failures' });
  lanesOf('Expectations and rules').push(...[...run.verdicts].sort((a, b) => a.good - b.good).map(laneOfVerdict));
  for (const lane of run.lanes) if (lane.group !== 'Sequence') lanesOf(lane.group).push(lane);
  for (const [name, lanes] of byName) {
    if (!lanes.length) continue;
    const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
    svg.setAttribute('role', 'img');
    svg.setAttribute('aria-label', `${name}: ${lanes.map(lane => lane.label).join(', ')}`);
    const place = element('details', { open: '' }, element('summary', {}, name), svg);
    place.addEventListener('toggle', draw);
    page('lanes').append(place);
    groups.push({ svg, lanes, place });
  }
  for (const id of ['brush', 'held', 'cursor']) page('lanes').append(element('div', { id, 'aria-hidden': 'true' }));
  page('brush').hidden = true;
}

function draw() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(drawNow);
}

function drawNow() {
  waiting = false;
  groups.forEach(({ svg, lanes, place }, n) => { if (place.open) drawGroup(svg, lanes, n); });
  drawOverview(page('overview'));
  drawAxis(page('axis'));
  page('range').textContent = `${clock(shown.from)} to ${clock(shown.to)}`;
  showCursor();
}

function showCursor() {
  const at = cursor.at, line = page('cursor');
  const inside = ms => ms !== null && ms >= shown.from && ms <= shown.to;
  line.style.left = `${x(at)}px`;
  line.hidden = !inside(at);
  line.classList.toggle('held', cursor.held);
  const other = cursor.held && inside(cursor.pointer) ? cursor.pointer : null;
  page('held').hidden = other === null;
  if (other !== null) page('held').style.left = `${x(other)}px`;
  const apart = other === null ? '' : ` (pointer ${other >= at ? '+' : '−'}${clock(Math.abs(other - at))})`;
  page('readout').textContent = `${clock(at)}${cursor.held ? ', held' : ''}${apart}`;
  showValues(at);
}

// ---- moving the view and the cursor
function scanAt(ms) {
  return Math.min(run.end_ms, Math.max(0, Math.round(ms / run.scan_ms) * run.scan_ms));
}

function view(from, to) {
  const whole = run.end_ms - run.from_ms;
  const length = Math.min(Math.max(to - from, Math.min(LEAST_MS, whole)), whole);
  const first = Math.min(Math.max((from + to - length) / 2, run.from_ms), run.end_ms - length);
  Object.assign(shown, { from: first, to: first + length });
  draw();
}

function zoom(factor, around) {
  const middle = around ?? (cursor.at >= shown.from && cursor.at <= shown.to ? cursor.at : (shown.from + shown.to) / 2);
  const length = (shown.to - shown.from) * factor, share = (middle - shown.from) / (shown.to - shown.from);
  const from = middle - share * length;
  view(from, from + length);
}

function pan(ms) {
  view(shown.from + ms, shown.to + ms);
}

function setCursor(ms, held = cursor.held) {
  Object.assign(cursor, { at: scanAt(ms), held });
  showCursor();
}

// The cursor there, held; the view moves only where it must.
function look(ms) {
  const length = shown.to - shown.from;
  if (ms < shown.from || ms > shown.to) view(ms - length * 0.6, ms + length * 0.4);
  setCursor(ms, true);
  page('plots').scrollIntoView({ block: 'start' });
}

function jump(verdict) {
  const length = Math.min(Math.max(1.2 * (verdict.last - verdict.first), 4_000), 20_000);
  view(verdict.at - length * 0.6, verdict.at + length * 0.4);
  look(verdict.at);
  history.replaceState(null, '', `#t=${verdict.at}`);
}

function toStep(direction) {
  const times = [...run.step.lines[0].t];
  const next = direction > 0 ? times.find(t => t > cursor.at) : times.reverse().find(t => t < cursor.at);
  if (next !== undefined) look(next);
}

function toFailed() {
  if (run.failed.length) jump(run.failed.find(verdict => verdict.at > cursor.at) || run.failed[0]);
}

// ---- hands
function onKey(event) {
  if (event.altKey || event.metaKey || (event.ctrlKey && !event.key.startsWith('Arrow'))) return;
  const scans = Math.max(1, Math.round((shown.to - shown.from) / 400 / run.scan_ms)) * (event.shiftKey ? 10 : 1);
  const acts = {
    ArrowLeft: () => step(-scans), ArrowRight: () => step(scans), '+': () => zoom(0.5), '=': () => zoom(0.5), '-': () => zoom(2),
    0: () => view(run.from_ms, run.end_ms), PageUp: () => pan((shown.from - shown.to) * 0.8), PageDown: () => pan((shown.to - shown.from) * 0.8),
    Home: () => look(0), End: () => look(run.end_ms), n: () => toStep(1), p: () => toStep(-1), f: toFailed,
    Escape: () => setCursor(cursor.at, false),
  };
  const act = acts[event.key];
  const mine = page('lanes').contains(document.activeElement) || 'npf0+-='.includes(event.key);
  if (!act || !mine) return;
  event.preventDefault();
  act();
}

function step(scans) {
  const at = scanAt(cursor.at + scans * run.scan_ms), length = shown.to - shown.from;
  if (at < shown.from || at > shown.to) view(at - length / 2, at + length / 2);
  setCursor(at, true);
}

function onWheel(event) {
  const strip = page('strip').contains(event.target);
  const px = event.clientX - page('lanes').getBoundingClientRect().left;
  if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
    pan((event.deltaX || event.deltaY) / 600 * (shown.to - shown.from));
  } else if (strip || event.ctrlKey) zoom(Math.exp(event.deltaY / 400), timeAt(Math.max(px, shown.gutter)));
  else return;
  event.preventDefault();
}

function lanesDrag() {
  const lanes = page('lanes');
  const px = event => event.clientX - lanes.getBoundingClientRect().left;
  let start = null;
  lanes.addEventListener('pointerdown', event => {
    if (event.button || event.target.closest('summary') || px(event) < shown.gutter) return;
    start = px(event);
    if (event.pointerType !== 'touch') lanes.setPointerCapture(event.pointerId);
  });
  lanes.addEventListener('pointermove', event => {
    if (px(event) < shown.gutter && start === null) return;
    cursor.pointer = scanAt(timeAt(px(event)));
    if (cursor.held) showCursor(); else setCursor(cursor.pointer);
    if (start === null || Math.abs(px(event) - start) < 5) return;
    const [left, right] = [start, Math.max(px(event), shown.gutter)].sort((a, b) => a - b);
    Object.assign(page('brush').style, { left: `${left}px`, width: `${right - left}px` });
    page('brush').hidden = false;
  });
  lanes.addEventListener('pointerup', event => {
    if (start === null) return;
    const [from, to] = [timeAt(start), timeAt(px(event))].sort((a, b) => a - b);
    if (Math.abs(px(event) - start) >= 5) view(Math.max(from, shown.from), to);
    else setCursor(timeAt(start), true);
    stop();
  });
  const stop = () => { start = null; page('brush').hidden = true; };
  lanes.addEventListener('pointercancel', stop);
  lanes.addEventListener('pointerleave', () => { cursor.pointer = null; showCursor(); });
}

// Over the strip: the axis moves with the hand, the whole run's frame goes to it.
function stripDrag(svg, move) {
  let last = null;
  svg.addEventListener('pointerdown', event => { last = event.clientX; svg.setPointerCapture(event.pointerId); move(event, 0); });
  svg.addEventListener('pointermove', event => { if (last !== null) { move(event, event.clientX - last); last = event.clientX; } });
  for (const end of ['pointerup', 'pointercancel']) svg.addEventListener(end, () => { last = null; });
}

function overviewTo(event) {
  const share = (event.clientX - page('lanes').getBoundingClientRect().left - shown.gutter) / (shown.width - shown.gutter - RIGHT);
  const middle = run.from_ms + share * (run.end_ms - run.from_ms), half = (shown.to - shown.from) / 2;
  view(middle - half, middle + half);
}

function sized(width) {
  shown.width = Math.max(width, 280);
  shown.stacked = shown.width < 560;
  shown.gutter = shown.stacked ? 8 : Math.round(Math.min(250, shown.width * 0.27));
  drawNow();
}

function start() {
  writeHead(); writeFailed(); writeVerdicts(); writeDoings(); writeList(); buildGroups();
  if (run.coarse_ms > run.scan_ms) page('keys').before(element('p', { class: 'faint' }, `So long a run: of the readings the least and the most `
    + `of every ${clock(run.coarse_ms)} are kept, and every scan near what failed.`));
  const acts = { whole: () => view(run.from_ms, run.end_ms), closer: () => zoom(0.5), wider: () => zoom(2), back: () => toStep(-1),
    on: () => toStep(1), next_failed: toFailed };
  for (const [name, act] of Object.entries(acts)) page(name).addEventListener('click', act);
  page('next_failed').hidden = !run.failed.length;
  document.addEventListener('keydown', onKey);
  for (const name of ['lanes', 'strip']) page(name).addEventListener('wheel', onWheel, { passive: false });
  lanesDrag();
  stripDrag(page('overview'), overviewTo);
  stripDrag(page('axis'), (event, px) => pan(-px / (shown.width - shown.gutter - RIGHT) * (shown.to - shown.from)));
  cursor.at = run.failed.length ? scanAt(run.failed[0].at) : run.end_ms;
  cursor.held = run.failed.length > 0;
  sized(page('lanes').clientWidth);
  const asked = /^#t=(\d+)$/.exec(location.hash);
  if (asked) jump(run.failed.find(verdict => verdict.at === +asked[1]) || { at: +asked[1], first: +asked[1], last: +asked[1] });
  new ResizeObserver(([entry]) => { if (entry.contentRect.width !== shown.width) sized(entry.contentRect.width); }).observe(page('lanes'));
  window.addEventListener('beforeprint', () => { for (const { place } of groups) place.open = true; sized(1040); });
  window.addEventListener('afterprint', () => sized(page('lanes').clientWidth));
}

start();
