// Lanes as SVG: each group of lanes is one drawing, made anew for the stretch of time that is shown.
const HEIGHTS = { states: 24, words: 24, bool: 19, bar: 19, analog: 72, verdict: 22, marks: 80 };
const RIGHT = 12;
const shown = { from: run.from_ms, to: run.end_ms, width: 900, gutter: 230, stacked: false };
const STACKED = 15; // a narrow page has the labels over the lanes
const pen = document.createElement('canvas').getContext('2d');

const x = ms => shown.gutter + (ms - shown.from) / (shown.to - shown.from) * (shown.width - shown.gutter - RIGHT);
const timeAt = px => shown.from + (px - shown.gutter) / (shown.width - shown.gutter - RIGHT) * (shown.to - shown.from);
const round = px => Math.round(px * 10) / 10;
const safe = text => String(text).replace(/[&<>"]/g, c => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' }[c]));

const PLAIN = '12px system-ui, "DejaVu Sans", sans-serif', BOLD = `600 ${PLAIN}`;

function fitted(text, px, font = PLAIN) {
  pen.font = font;
  if (pen.measureText(text).width <= px) return text;
  let kept = text.length;
  while (kept > 1 && pen.measureText(text.slice(0, kept) + '…').width > px) kept--;
  return kept > 1 ? text.slice(0, kept) + '…' : '';
}

// Stretches of one value inside what is shown: [from, to, value]; none lies in a gap without power.
function* stretches(line) {
  const last = Math.min(run.end_ms, shown.to);
  for (let k = Math.max(0, placeAt(line, shown.from)); k < line.t.length && line.t[k] <= shown.to; k++) {
    let from = Math.max(line.t[k], shown.from);
    const to = Math.min(k + 1 < line.t.length ? line.t[k + 1] : last, shown.to);
    for (const [dark, light] of line.whole ? [] : run.gaps) {
      if (dark >= to || light <= from) continue;
      if (dark > from) yield [from, dark, line.v[k]];
      from = light;
    }
    if (from < to || to === shown.from) yield [from, to, line.v[k]];
  }
}

function blocks(line, y, h, classOf, textOf) {
  let out = '', texts = '';
  for (const [from, to, value] of stretches(line)) {
    const text = textOf(value);
    if (!text) continue;
    const left = x(from), width = Math.max(x(to) - left, 0.6);
    const hatch = classOf(value) === 'FAULT' ? `<rect x="${round(left)}" y="${y}" width="${round(width)}" height="${h}" fill="url(#fault)"/>` : '';
    out += `<rect class="${width > 3 ? 'block' : ''}" style="fill:var(--${classOf(value)})" x="${round(left)}" y="${y}" width="${round(width)}" height="${h}"/>${hatch}`;
    const fits = width > 14 ? fitted(text, width - 6) : '';
    if (fits.length > 2 || fits === text) texts += `<text x="${round(left + 3)}" y="${y + h - 6}">${safe(fits)}</text>`;
  }
  return out + texts;
}

// Filled where a line is true; what is narrower than a pixel is joined to its neighbour.
function filled(line, y, h, name) {
  let path = '', end = -1;
  for (const [from, to, value] of stretches(line)) {
    if (!value) continue;
    const left = Math.max(x(from), end), right = Math.max(x(to), x(from) + 1);
    if (right <= end) continue;
    path += `M${round(left)} ${y}H${round(right)}V${y + h}H${round(left)}Z`;
    end = right;
  }
  return `<path class="${name}" d="${path}"/>`;
}

// Least and most of a lane; from zero on, unless it stays far above it.
function extent(lane) {
  if (lane.extent) return lane.extent;
  let low = Infinity, high = -Infinity;
  for (const line of lane.lines) for (const value of line.v) { low = Math.min(low, value); high = Math.max(high, value); }
  if (low > 0) low = low > 0.6 * high ? Math.min(low, Math.round(0.85 * high)) : 0;
  high = Math.max(high, low + lane.per_unit / 10);
  return lane.extent = [low > -0.03 * high ? Math.max(low, 0) : low, high];
}

function curve(line, height) {
  const first = Math.max(0, placeAt(line, shown.from)), last = Math.min(line.t.length - 1, placeAt(line, shown.to) + 1);
  let path = '', column = -1, least = 0, most = 0, before = null;
  for (let k = first; k <= last; k++) {
    const px = x(line.t[k]), py = height(line.v[k]), here = Math.floor(px);
    if (last - first > 3 * shown.width) { // so dense: the extremes of each column of pixels
      if (here !== column) {
        if (column >= 0) path += `${path ? 'L' : 'M'}${column} ${round(least)}V${round(most)}`;
        column = here; least = most = py;
      }
      least = Math.min(least, py); most = Math.max(most, py);
      continue;
    }
    // between two points it stood within what is seen, up to one scan before; extremes are joined straight
    if (path && line.each > 1) path += `L${round(px)} ${round(py)}`;
    else path += path ? `H${round(Math.max(x(line.t[k] - run.scan_ms), before))}L${round(px)} ${round(py)}` : `M${round(px)} ${round(py)}`;
    before = px;
  }
  if (column >= 0) path += `L${column} ${round(least)}V${round(most)}`;
  return last === line.t.length - 1 ? `${path}H${round(x(Math.min(run.end_ms, shown.to)))}` : path;
}

function heightOf(lane, y, h) {
  const [low, high] = extent(lane), top = y + (lane.lines.length > 1 ? 18 : 9), bottom = y + h - 9;
  return value => bottom - (value - low) / (high - low) * (bottom - top);
}

function scaleOf(lane, y, h) {
  const [low, high] = extent(lane), height = heightOf(lane, y, h);
  const number = value => (value / lane.per_unit).toFixed(high < 100 * lane.per_unit ? lane.decimals : 0);
  const place = shown.stacked ? `text-anchor="start" x="${shown.gutter + 3}"` : `text-anchor="end" x="${shown.gutter - 5}"`;
  const named = low < 0 ? (height(low) - height(0) > 12 ? [low, 0, high] : [0, high]) : [low, high];
  return named.map(value => {
    const at = round(height(value));
    return `<path class="grid" d="M${shown.gutter} ${at}H${shown.width - RIGHT}"/><text class="small" ${place} y="${at + 4}">${number(value)}</text>`;
  }).join('');
}

// Of a lane with more than one line: how each is drawn, and what it is.
function legend(lane, y) {
  if (lane.lines.length < 2) return '';
  let left = shown.gutter + 6, out = '';
  lane.lines.forEach((line, n) => {
    pen.font = PLAIN;
    const wide = pen.measureText(line.told).width;
    out += `<path class="plot${n ? ' second' : ''}" d="M${round(left)} ${y + 6}h22"/><text class="small legend" x="${round(left + 27)}" y="${y + 10}">${safe(line.told)}</text>`;
    left += wide + 44;
  });
  return out;
}

function analogLane(lane, y, h) {
  const height = heightOf(lane, y, h);
  return lane.lines.map((line, n) => `<path class="plot${n ? ' second' : ''}" d="${curve(line, height)}"/>`).reverse().join('') + legend(lane, y);
}

function verdictLane(verdict, y, h) {
  const left = round(x(Math.max(verdict.first, shown.from))), right = round(x(Math.min(verdict.last, shown.to)));
  let out = '';
  if (right > left) out += `<rect class="window ${verdict.good ? '' : 'bad'}" x="${left}" y="${y + 2}" width="${round(right - left)}" height="${h - 5}"/>`;
  if (verdict.trace) out += filled(verdict.trace, y + 7, h - 15, verdict.wrong ? 'wrong' : 'true');
  const at = round(x(verdict.at));
  if (verdict.good) return `${out}<path class="mark" d="M${at} ${y + 2}v${h - 5}h1.5v-${h - 5}z"/>`;
  return `${out}<path class="badmark" d="M${at - 6} ${y + 1}h12l-6 11z"/>`;
}

const SHAPES = { moment: 'm-4 0l4 -5l4 5l-4 5z', command: 'm-3 -5l7 5l-7 5z', begins: 'm-5 4l5 -9l5 9z', ends: 'm-5 -4l5 9l5 -9z',
  set: 'm-4 -4h8v8h-8z', power: 'm-5 -1.5h10v3h-10z' };

// Labels in as many rows as there is room for; what finds none is a shape in the last row, named by the list below.
function marksLane(y) {
  const ends = [0, 0, 0, 0];
  let out = '', rows = 1;
  for (const mark of run.marks) {
    if (mark.at < shown.from || mark.at > shown.to || mark.dull) continue;
    const left = x(mark.at), text = fitted(mark.text, shown.width - RIGHT - left - 8);
    pen.font = PLAIN;
    const wide = pen.measureText(text).width, row = ends.findIndex(end => end <= left - 6);
    const at = y + 9 + 16 * (row < 0 || !text ? ends.length : row);
    rows = Math.max(rows, row < 0 || !text ? ends.length + 1 : row + 1);
    out += `<path class="mark ${mark.kind}" d="M${round(left)} ${at}${SHAPES[mark.kind]}"><title>${safe(`${clock(mark.at)} ${mark.text}`)}</title></path>`;
    if (row < 0 || !text) continue;
    out += `<text x="${round(left + 8)}" y="${at + 4}">${safe(text)}</text>`;
    ends[row] = left + wide + 14;
  }
  HEIGHTS.marks = 16 * rows + 6;
  return out;
}

function laneLabel(text, sub, title, y, h, name = '') {
  if (shown.stacked) {
    const whole = fitted([text, sub].filter(Boolean).join(', '), shown.width - 6);
    return `<text class="${name}" x="2" y="${y - 3}">${safe(whole)}</text>`;
  }
  const room = shown.gutter - (h > 40 ? 44 : 8), tag = sub && room > 130 ? pen.measureText(sub).width + 10 : 0;
  const middle = h > 40 ? y + h / 2 - 2 : y + h / 2 + 4;
  let out = `<g><title>${safe(title)}</title><text class="${name}" x="2" y="${middle}">${safe(fitted(text, room - tag, name ? BOLD : PLAIN))}</text>`;
  if (h > 40 && sub) out += `<text class="small" x="2" y="${middle + 14}">${safe(sub)}</text>`;
  else if (tag) out += `<text class="small" text-anchor="end" x="${shown.gutter - 6}" y="${middle}">${safe(sub)}</text>`;
  return `${out}</g>`;
}

function laneBody(lane, y, h) {
  const line = lane.lines && lane.lines[0];
  switch (lane.kind) {
    case 'states': return blocks(line, y + 1, h - 3, value => run.states[value], value => run.states[value]);
    case 'words': return blocks(line, y + 1, h - 3, value => lane.label === 'step' ? run.states[run.state_of[value]] : 'panel', value => lane.words[value]);
    case 'bool': return `<path class="low" d="M${shown.gutter} ${y + h - 3}H${shown.width - RIGHT}"/>` + filled(line, y + 3, h - 6, 'on');
    case 'bar': return filled(line, y + 3, h - 6, lane.ms ? 'fail' : 'act');
    case 'analog': return analogLane(lane, y, h);
    case 'verdict': return verdictLane(lane.verdict, y, h);
    default: return marksLane(y);
  }
}

const HATCHES = `<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
<rect width="7" height="7" fill="var(--panel)"/><path d="M0 0V7" stroke="var(--gap)" stroke-width="3"/></pattern>
<pattern id="fault" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">
<path d="M0 0V6" stroke="var(--ink)" stroke-opacity=".28" stroke-width="1.6"/></pattern></defs>`;

function clip(id, more, h) {
  return `<clipPath id="${id}"><rect x="${shown.gutter - more}" y="0" width="${shown.width - shown.gutter - RIGHT + 2 * more}" height="${h}"/></clipPath>`;
}

function drawGroup(svg, lanes, n) {
  let y = 2, out = '';
  for (const lane of lanes) {
    if (lane.kind === 'marks') marksLane(y); // how high it is
    const h = HEIGHTS[lane.kind];
    if (shown.stacked) y += STACKED;
    if (lane.kind === 'analog') out += scaleOf(lane, y, h);
    out += laneLabel(lane.label, lane.sub || lane.unit || lane.tag, lane.title, y, h, lane.name);
    out += `<g clip-path="url(#${lane.kind === 'verdict' || lane.kind === 'marks' ? 'wide' : 'plot'}-${n})">${laneBody(lane, y, h)}</g><path class="grid" d="M0 ${y + h - 0.5}H${shown.width}"/>`;
    y += h;
  }
  let gaps = '';
  for (const [first, last] of run.gaps) {
    const left = Math.max(x(first), shown.gutter), right = Math.min(x(last), shown.width - RIGHT);
    if (right > left) gaps += `<rect class="gap" x="${round(left)}" y="0" width="${round(right - left)}" height="${y}"><title>no power</title></rect>`;
  }
  svg.setAttribute('viewBox', `0 0 ${shown.width} ${y + 2}`);
  svg.innerHTML = clip(`plot-${n}`, 0, y + 2) + clip(`wide-${n}`, 7, y + 2) + (lanes[0].kind === 'marks' ? gaps + out : out + gaps);
}

// A round stretch of time for the axis, at least so many pixels apart.
function tick() {
  const least = (shown.to - shown.from) * 90 / (shown.width - shown.gutter);
  const steps = [10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 1e4, 2e4, 3e4, 6e4, 12e4, 3e5, 6e5, 12e5, 18e5, 36e5, 72e5, 144e5, 288e5];
  return steps.find(step => step >= least) || 864e5;
}

function drawAxis(svg) {
  const step = tick(), digits = step < 100 ? 2 : step < 1000 ? 1 : 0;
  let out = shown.stacked ? '' : '<text class="small" x="2" y="15">time since power-up</text>';
  for (let ms = Math.ceil(shown.from / step) * step; ms <= shown.to; ms += step) {
    const px = round(x(ms));
    out += `<path class="rule" d="M${px} 0v5"/><text class="small" text-anchor="middle" x="${Math.max(18, Math.min(px, shown.width - 22))}" y="16">${clock(ms, digits)}</text>`;
  }
  svg.setAttribute('viewBox', `0 0 ${shown.width} 20`);
  svg.innerHTML = out;
}

function drawOverview(svg) {
  const now = { from: shown.from, to: shown.to };
  Object.assign(shown, { from: run.from_ms, to: run.end_ms });
  let out = shown.stacked ? '' : `<text class="small" x="2" y="19">whole run, ${clock(run.end_ms)}</text>`;
  out += blocks(run.state, 8, 16, value => run.states[value], value => run.states[value]).replace(/<text.*?<\/text>/g, '');
  const left = round(x(now.from)), width = round(Math.max(x(now.to) - x(now.from), 2));
  out += `<rect class="frame" x="${left}" y="5" width="${width}" height="22"/>`;
  for (const verdict of run.failed) out += `<path class="badmark" d="M${round(x(verdict.at)) - 6} 0h12l-6 11z"/>`;
  Object.assign(shown, now);
  svg.setAttribute('viewBox', `0 0 ${shown.width} 29`);
  svg.innerHTML = HATCHES + out; // always in sight: the patterns of all drawings are here
}
